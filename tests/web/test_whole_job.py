"""The whole job in a browser: bring in, mend, look, what if, decide, plan, issue, download. No console error, no other host, axe finds nothing."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest
from conftest import served

from quietseat.store import open_workspace
from quietseat.web.app import make_app

HEADINGS = (
    "Tag,Type,Designation,Inlet class,Set pressure (barg),MAWP (barg),Operating pressure (barg),Blowdown (%),Seat,Phase,Fluid,Mol wt,k,Z,"
    "Relieving temp (degC),Required rate (kg/h),Rate basis,Case,Inlet line size,Inlet length (m),Outlet line size,Outlet length (m),Discharge to,Volume (m3)"
)
ROWS = (
    "PSV-1,Conventional,3L4,300,10,10,9.6,7,metal,gas,propane,44,1.13,0.9,60,4000,signed,blocked outlet,3,0.9,4,4,atmosphere,20",
    "PSV-2,Conventional,3L4,300,ten,10,8,10,metal,gas,propane,44,1.13,0.9,60,15000,signed,blocked outlet,6,0.3,8,1,atmosphere,20",
    "PSV-3,Conventional,2J3,150,7,7,5,7,metal,gas,nitrogen,28,1.4,1,40,900,signed,blocked outlet,2,1.2,3,2,atmosphere,5",
)
ADDRESSES = (
    "/", "/plant/1/bring-in", "/plant/1/bring-in?show=columns", "/plant/1/bring-in?show=mends", "/plant/1/fleet", "/plant/1/fleet/pictures",
    *(f"/plant/1/valve?tag=PSV-1&part={part}" for part in ("overview", "cases", "steps", "stability", "leakage", "remedies", "money", "history")),
    "/plant/1/valve/what-if?tag=PSV-1&valve.blowdown=10 %25", "/plant/1/plan", "/plant/1/plan/exact", "/plant/1/plan/curve", "/plant/1/ask",
    "/plant/1/basis?to.thin_margin=20 %25", "/plant/1/study", "/plant/1/record", "/plant/1/work", "/plant/99/fleet",
)  # fmt: skip


class Watch:
    """Every address a page asks for and every error it makes."""

    def __init__(self, page: Any) -> None:
        self.asked: list[str] = []
        self.errors: list[str] = []
        page.on("request", lambda request: self.asked.append(request.url))
        page.on("console", lambda message: self.errors.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: self.errors.append(str(error)))

    def clean(self, root: str, *, allowed: tuple[str, ...] = ()) -> None:
        assert [url for url in self.asked if not url.startswith((root, "data:", "blob:"))] == []
        assert [words for words in self.errors if not any(word in words for word in allowed)] == []


def until_done(page: Any, root: str, words: str) -> None:
    """Wait until the newest job of the plant is done."""
    for _ in range(360):
        page.goto(f"{root}/plant/1/work")
        jobs = page.locator(".job")
        assert jobs.locator("text=failed").count() == 0, jobs.first.inner_text()
        if page.locator(".job-waiting, .job-running").count() == 0:
            assert words in page.locator("main").inner_text()
            return
        page.wait_for_timeout(500)
    raise AssertionError(page.locator("main").inner_text())


def test_the_whole_job(chromium: Any, tmp_path: Path) -> None:
    register = tmp_path / "register.csv"
    register.write_text("\n".join((HEADINGS, *ROWS)) + "\n", encoding="utf-8")
    from playwright.sync_api import expect

    with served(make_app(open_workspace(tmp_path / "space"))) as root:
        context = chromium.new_context(viewport={"width": 1440, "height": 900}, accept_downloads=True)
        page = context.new_page()
        watch = Watch(page)

        page.goto(root)
        page.get_by_label("Your name").fill("Ann Body")
        page.get_by_role("button", name="Keep").click()
        page.get_by_label("Register:").set_input_files(str(register))
        page.get_by_label("Name of the plant").fill("North works")
        page.get_by_role("button", name="Read it").click()
        page.wait_for_url("**/plant/1/bring-in*")
        expect(page.locator("main")).to_contain_text("3 rows found")
        until_done(page, root, "Study, full")

        page.goto(f"{root}/plant/1/bring-in?show=cells&q=ten")
        page.locator("[data-rows] tbody th a").first.click()  # the row as written
        page.wait_for_url("**/bring-in/row?*")
        expect(page.locator("main")).to_contain_text("ten")
        page.goto(f"{root}/plant/1/bring-in?show=cells&q=ten")
        page.locator("[data-rows] summary").first.click()
        form = page.locator("form[action='/plant/1/mend']:visible").first
        form.locator("input[name=value]").fill("10 barg")
        form.locator("input[name=why]").fill("nameplate")
        form.get_by_role("button", name="Mend this cell").click()
        expect(page.locator("main")).to_contain_text("1 mend since study")
        with page.expect_navigation():
            page.get_by_role("button", name="Run the study again").click()
        until_done(page, root, "Study, full")

        page.goto(f"{root}/plant/1/fleet")
        page.keyboard.press("/")
        page.keyboard.type("PSV-1")
        expect(page.locator("[data-rows] tbody tr")).to_have_count(1)
        page.locator("[data-rows] tbody a", has_text="PSV-1").first.click()
        page.wait_for_url("**/valve?tag=PSV-1*")
        assert "misfit" in page.locator("h1").inner_text()

        page.goto(f"{root}/plant/1/valve/what-if?tag=PSV-1")
        page.get_by_label("Operating maximum").fill("8 barg")
        page.get_by_role("button", name="Judge it").click()
        page.get_by_text("Keep it").first.wait_for()
        assert "PSV-1" in page.locator("main").inner_text()

        page.goto(f"{root}/plant/1/valve?tag=PSV-1&part=remedies")
        box = page.locator("form[action='/plant/1/valve/decide']").first
        title = page.locator("article h3, article h2").first.inner_text()
        box.locator("textarea").fill("cheapest that clears all")
        with page.expect_navigation():
            box.get_by_role("button", name="Decide on this remedy").click()
        page.goto(f"{root}/plant/1/valve?tag=PSV-1")
        assert "Ann Body" in page.locator("main").inner_text() and title.split(",")[0] in page.locator("main").inner_text()

        page.goto(f"{root}/plant/1/plan")
        page.locator("[data-slider=budget]").evaluate("(one) => { one.value = one.max; one.dispatchEvent(new Event('input', {bubbles: true})); }")
        page.wait_for_selector("#exact .lists")
        page.wait_for_selector("#curve figure")
        assert "valves chosen" in page.locator("#exact .lead").inner_text() or "valve chosen" in page.locator("#exact .lead").inner_text()

        page.goto(f"{root}/plant/1/study")
        page.get_by_label("Title or revision").fill("Rev A")
        page.get_by_role("button", name="Issue").first.click()
        expect(page.locator("main")).to_contain_text("issued")
        page.get_by_label("Reviewer").fill("Kim Roe")
        with page.expect_navigation():
            page.locator("form[action$='/reviewer'] button").click()
        with page.expect_navigation():
            page.locator("form[action$='/files'] button").click()
        until_done(page, root, "Report")
        page.goto(f"{root}/plant/1/study")
        for name in ("study.pdf", "study.html", "study.json"):
            with page.expect_download() as waiting:
                page.locator(f"a[href$='{name}']").first.click()
            got = Path(waiting.value.path()).read_bytes()
            assert len(got) > 1000, name
            if name == "study.json":
                assert {valve["tag"] for valve in json.loads(got)["valves"]} == {"PSV-1", "PSV-2", "PSV-3"}
        page.get_by_label("Kim Roe has reviewed it").check()
        page.get_by_role("button", name="Lock study").click()
        page.wait_for_selector("text=locked by Ann Body")
        assert hashlib.sha256(got).hexdigest() in page.locator("#files").inner_text()  # of study.json, downloaded last
        watch.clean(root)

        violations = _walk(chromium, root)
        assert violations == []
        context.close()


def _walk(chromium: Any, root: str) -> list[str]:
    """Every page at two widths: no sideways scroll, no error, and what axe finds."""
    from axe_playwright_python.sync_playwright import Axe

    found: list[str] = []
    for width in (1440, 390):
        context = chromium.new_context(viewport={"width": width, "height": 900}, bypass_csp=True)  # for the script of axe alone
        page = context.new_page()
        watch = Watch(page)
        for address in ADDRESSES:
            page.goto(root + address)
            page.wait_for_load_state("networkidle")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, address
            found += [f"{address} at {width}: {one['id']}: {one['nodes'][0]['html'][:120]}" for one in Axe().run(page).response["violations"]]
        watch.clean(root, allowed=("404",))
        context.close()
    return found


@pytest.mark.parametrize("address", ["/plant/1/fleet?q=PSV&sort=-cost", "/plant/1/valve?tag=10-PSV-1005&part=steps", "/plant/1/ask", "/plant/1/plan/exact"])
def test_pages_read_without_scripts(chromium: Any, studied: Path, address: str) -> None:
    with served(make_app(open_workspace(studied), runs_jobs=False)) as root:
        context = chromium.new_context(java_script_enabled=False)
        page = context.new_page()
        watch = Watch(page)
        page.goto(root + address)
        assert page.locator("h1").count() == 1 and len(page.locator("main").inner_text()) > 300
        watch.clean(root)
        context.close()
