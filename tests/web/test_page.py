"""study.html in a real browser: nothing from outside, no errors, fits a phone, the fleet table can be searched.

On a machine without Chromium these are skipped with this line; in CI they must run.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from quietseat import demo
from quietseat.basis import load
from quietseat.report.build import build
from quietseat.report.html import render
from quietseat.study import run


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    packaged = demo.files()
    study = run(packaged.register, load(packaged.basis), packaged.mends)
    path = tmp_path_factory.mktemp("page") / "study.html"
    path.write_text(render(build(study)), encoding="utf-8")
    return path


def opened(chromium: Any, file: Path, width: int, scripts: bool = True) -> tuple[Any, list[str], list[str]]:
    """The page at a width, the addresses it asked for and the errors it made."""
    context = chromium.new_context(viewport={"width": width, "height": 800}, java_script_enabled=scripts)
    page = context.new_page()
    asked: list[str] = []
    errors: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(file.as_uri())
    return page, asked, errors


@pytest.mark.parametrize("width", [360, 820, 1280])
def test_nothing_from_outside_no_errors_and_no_sideways_scroll(chromium: Any, page_file: Path, width: int) -> None:
    page, asked, errors = opened(chromium, page_file, width)
    outside = [url for url in asked if not url.startswith(("file:", "data:"))]
    assert outside == [] and errors == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.context.close()


def test_the_fleet_table_can_be_searched_and_filtered(chromium: Any, page_file: Path) -> None:
    page, _, _ = opened(chromium, page_file, 1280)
    box = page.get_by_role("searchbox")
    total = page.locator("[data-fleet] tbody tr").count()
    assert total >= 60
    box.fill("10-PSV-1005")
    assert page.locator("[data-fleet] tbody tr:visible").count() == 1
    box.fill("")
    page.get_by_label("Show verdict").select_option("misfit")
    shown = page.locator("[data-fleet] tbody tr:visible")
    assert 0 < shown.count() < total
    assert all("misfit" in text for text in shown.all_inner_texts())
    page.context.close()


def test_it_reads_without_scripts(chromium: Any, page_file: Path) -> None:
    page, _, _ = opened(chromium, page_file, 820, scripts=False)
    assert page.locator("h1").count() == 1
    assert page.locator("[data-fleet] tbody tr").count() >= 60
    assert "The ten worst" in page.locator("body").inner_text()
    page.context.close()


def test_one_click_opens_the_steps_of_a_valve_in_typeset_maths(chromium: Any, page_file: Path) -> None:
    page, _, _ = opened(chromium, page_file, 1280)
    fold = page.locator("details", has=page.locator("math")).first
    fold.locator("summary").first.click()
    assert fold.locator("math").count() > 20
    page.context.close()
