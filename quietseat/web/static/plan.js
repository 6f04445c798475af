"use strict";
// Sliders move their numbers; rows may be dragged between the lists. Without this file the numbers and the buttons do the same.
(() => {
  const form = document.getElementById("limits");
  if (form) {
    form.addEventListener("input", (event) => {
      const slider = event.target.dataset.slider, number = event.target.dataset.number;
      if (slider) form.querySelector(`[data-number="${slider}"]`).value = event.target.value;
      if (number) form.querySelector(`[data-slider="${number}"]`).value = event.target.value;
      const query = new URLSearchParams([...new FormData(form)].filter(([, value]) => value));
      for (const part of document.querySelectorAll(".follows")) if (part.childElementCount) part.classList.add("old");
      history.replaceState(null, "", `${location.pathname}?${query}`);
    });
  }
  const ready = () => {
    for (const row of document.querySelectorAll(".lists tr[data-tag]")) {
      if (row.querySelector("form.hold")) row.draggable = true;
    }
  };
  document.addEventListener("dragstart", (event) => {
    const row = event.target.closest && event.target.closest(".lists tr[data-tag]");
    if (row) event.dataTransfer.setData("text/plain", row.dataset.tag);
  });
  document.addEventListener("dragover", (event) => {
    const list = event.target.closest && event.target.closest(".lists section");
    if (list) { event.preventDefault(); list.classList.add("over"); }
  });
  document.addEventListener("dragleave", (event) => {
    const list = event.target.closest && event.target.closest(".lists section");
    if (list) list.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    const list = event.target.closest && event.target.closest(".lists section");
    if (!list) return;
    event.preventDefault();
    const tag = event.dataTransfer.getData("text/plain");
    const hold = [...document.querySelectorAll(".lists form.hold")].find((one) => one.dataset.hold === tag);
    const button = hold && hold.querySelector(`button[value="${list.dataset.place}"]`);
    if (button) button.click();
  });
  for (const part of document.querySelectorAll(".follows")) new MutationObserver(() => part.classList.remove("old")).observe(part, { childList: true });
  new MutationObserver(ready).observe(document.body, { childList: true, subtree: true });
  ready();
})();
