"use strict";
// A page that shows the reading before shows the new one by itself once the register is read, unless something is being written or sent.
let sent = false;
document.addEventListener("submit", () => { sent = true; });
new MutationObserver(() => {
  if (sent || !document.querySelector("#ready [data-show]")) return;
  const written = [...document.querySelectorAll("main form input:not([type=hidden])")].some((one) => one.value !== one.defaultValue);
  if (!written && !document.querySelector("details.mend[open]")) location.reload();
}).observe(document.documentElement, { childList: true, subtree: true });
