"use strict";
// Keys on pages with a table: j and k (with a row in focus the arrow keys too) move between rows, Enter opens, / goes to the search.
document.addEventListener("keydown", (event) => {
  const typing = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName);
  if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "/") {
    const box = document.querySelector("[data-search]");
    if (box) { event.preventDefault(); box.focus(); }
    return;
  }
  const down = event.key === "j" || event.key === "ArrowDown", up = event.key === "k" || event.key === "ArrowUp";
  if (!down && !up) return;
  const links = [...document.querySelectorAll("[data-rows] tbody th a, [data-rows] tbody td a[data-open]")];
  const at = links.indexOf(document.activeElement);
  // The arrow keys scroll the page, unless a row has the focus.
  if (!links.length || (event.key.length > 1 && at < 0)) return;
  event.preventDefault();
  const next = down ? Math.min(at + 1, links.length - 1) : Math.max(at - 1, 0);
  links[next].focus();
});
