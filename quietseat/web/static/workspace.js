"use strict";
// Keys on pages with a table: j and k move between rows, Enter opens, / goes to the search.
document.addEventListener("keydown", (event) => {
  const typing = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName);
  if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "/") {
    const box = document.querySelector("[data-search]");
    if (box) { event.preventDefault(); box.focus(); }
    return;
  }
  if (event.key !== "j" && event.key !== "k") return;
  const links = [...document.querySelectorAll("[data-rows] tbody th a, [data-rows] tbody td a[data-open]")];
  if (!links.length) return;
  const at = links.indexOf(document.activeElement);
  const next = event.key === "j" ? Math.min(at + 1, links.length - 1) : Math.max(at - 1, 0);
  links[next].focus();
});
