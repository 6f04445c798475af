"use strict";
// The fleet table: space ticks the row that has the focus, ticks are counted, open filters stay open while the table changes.
(() => {
  const ticks = () => [...document.querySelectorAll("#bulk input[name=tag]")];
  const count = () => {
    const all = ticks(), on = all.filter((box) => box.checked).length;
    const told = document.getElementById("ticked"), head = document.getElementById("tick-all");
    if (told) told.textContent = on ? `(${on} ticked)` : "";
    if (head) {
      head.closest("label").hidden = false;
      head.checked = on > 0 && on === all.length;
      head.indeterminate = on > 0 && on < all.length;
    }
  };
  document.addEventListener("change", (event) => {
    if (event.target.id === "tick-all") ticks().forEach((box) => { box.checked = event.target.checked; });
    if (event.target.id === "tick-all" || event.target.name === "tag") count();
  });
  document.addEventListener("keydown", (event) => {
    const row = event.key === " " && event.target.matches("[data-rows] tbody a") && event.target.closest("tr");
    if (event.key === "Escape") document.querySelectorAll(".facets details[open]").forEach((one) => {
      if (one.contains(document.activeElement)) one.querySelector("summary").focus();
      one.open = false;
    });
    if (!row) return;
    event.preventDefault();
    const box = row.querySelector("input[name=tag]");
    box.checked = !box.checked;
    count();
  });
  document.addEventListener("click", (event) => {
    document.querySelectorAll(".facets details[open]").forEach((one) => { if (!one.contains(event.target)) one.open = false; });
  });
  // A new table comes with its filters shut: open those that were, and go back to the box that had the focus.
  // (The swaps say settle:0, or htmx would write the attributes of the answer once more and shut them again.)
  let focus = "";
  const open = new Set();
  document.addEventListener("focusin", (event) => { focus = event.target.id; });
  document.addEventListener("toggle", (event) => {
    if (event.target.isConnected && event.target.matches("#found details")) open[event.target.open ? "add" : "delete"](event.target.id);
  }, true);
  // Enter in the search opens the valve where one is left; where the table still shows an earlier search, once the new one is there.
  const plain = (text) => text.trim().toLowerCase().replace(/\s+/g, " ");
  let entered = null;
  const only = (words) => {
    const found = document.getElementById("found"), links = document.querySelectorAll("#found [data-rows] tbody th a");
    return found && plain(found.dataset.words) === plain(words) && found.dataset.total === "1" && links.length === 1 ? links[0] : null;
  };
  document.addEventListener("keydown", (event) => {
    if (event.target.id !== "q") return;
    entered = null;
    if (event.key !== "Enter" || !event.target.value.trim()) return;
    const link = only(event.target.value);
    if (link) { event.preventDefault(); location.assign(link.href); } else { entered = event.target.value; }
  });
  window.addEventListener("popstate", () => open.clear());
  let last = document.getElementById("found");
  new MutationObserver(() => {
    const q = document.getElementById("q"), found = document.getElementById("found");
    if (!found || found === last) return;
    last = found;
    const link = entered !== null && q && q.value === entered && only(entered);
    if (link) { entered = null; location.assign(link.href); return; }
    if (q && document.activeElement !== q) q.value = found.dataset.words;
    open.forEach((id) => { const one = document.getElementById(id); if (one) one.open = true; });
    const box = focus && document.activeElement === document.body && document.getElementById(focus);
    if (box) box.focus({ preventScroll: true });
    count();
  }).observe(document.documentElement, { childList: true, subtree: true });
  count();
})();
