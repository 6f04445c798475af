"use strict";
// A register may be dropped on the form; a file that is too large is told at once; a second press does not send it twice.
document.addEventListener("DOMContentLoaded", () => {
  const form = document.querySelector("form[data-drop]");
  if (!form) return;
  const file = form.querySelector("input[type=file]");
  const told = form.querySelector("[role=status]");
  const button = form.querySelector("button");
  const largest = Number(form.dataset.largest);
  const look = () => {
    const one = file.files[0];
    const large = one && one.size > largest;
    file.setCustomValidity(large ? "Too large" : "");
    told.textContent = !one ? "" : large ? `${one.name} is larger than ${largest / 1e6} MB: bring in the sheets with the valves alone.` : `${one.name} is ready to be read.`;
  };
  const over = (yes) => form.classList.toggle("over", yes);
  form.addEventListener("dragover", (event) => { event.preventDefault(); over(true); });
  form.addEventListener("dragleave", () => over(false));
  form.addEventListener("drop", (event) => {
    event.preventDefault();
    over(false);
    if (event.dataTransfer.files.length) { file.files = event.dataTransfer.files; look(); }
  });
  file.addEventListener("change", look);
  form.addEventListener("submit", () => {
    button.disabled = true;
    told.textContent = "The register is being read …";
  });
  window.addEventListener("pageshow", () => { button.disabled = false; });
});
