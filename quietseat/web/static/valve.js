"use strict";
// [ and ] go to the valve before and after in the ranking.
document.addEventListener("keydown", (event) => {
  const typing = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName);
  if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
  const link = document.querySelector(`a[data-key="${CSS.escape(event.key)}"]`);
  if (link) { event.preventDefault(); link.click(); }
});
// A formula wider than its place can be scrolled by the keyboard.
for (const box of document.querySelectorAll(".maths")) if (box.scrollWidth > box.clientWidth) box.tabIndex = 0;
// A page that waits for the register looks again by itself.
if (document.querySelector("[data-again]")) setTimeout(() => location.reload(), 1500);
