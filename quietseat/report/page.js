(function () {
  "use strict";
  var box = document.querySelector("[data-fleet]");
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details").forEach(function (d) { d.open = true; });
  });
  function reach(inside) {  // a formula that scrolls can be reached by key
    inside.querySelectorAll(".maths").forEach(function (m) {
      if (m.closest("details:not([open])")) { return; }
      if (m.scrollWidth > m.clientWidth) { m.tabIndex = 0; } else { m.removeAttribute("tabindex"); }
    });
  }
  document.addEventListener("toggle", function (event) { if (event.target.open) { reach(event.target); } }, true);
  window.addEventListener("resize", function () { reach(document); });
  if (!box) { return; }
  var table = box.querySelector("table"), body = table.tBodies[0], rows = Array.from(body.rows);
  var verdict = Array.from(table.tHead.rows[0].cells).findIndex(function (c) { return c.textContent === "Verdict"; });
  var find = document.createElement("div"), said = document.createElement("span");
  find.className = "find";
  var text = document.createElement("input");
  text.type = "search"; text.placeholder = "Find a tag, unit, fluid, cause"; text.setAttribute("aria-label", text.placeholder);
  var pick = document.createElement("select");
  pick.setAttribute("aria-label", "Show verdict");
  ["every verdict", "misfit", "unproven", "watch", "sound"].forEach(function (word) { pick.add(new Option(word)); });
  said.setAttribute("role", "status"); said.className = "small";
  find.append(text, pick, said);
  box.before(find);
  function show() {
    var want = text.value.toLowerCase(), only = pick.selectedIndex ? pick.value : "", count = 0;
    rows.forEach(function (row) {
      var fits = (!only || row.cells[verdict].textContent.indexOf(only) >= 0) &&
        (!want || row.textContent.toLowerCase().indexOf(want) >= 0);
      row.hidden = !fits; count += fits ? 1 : 0;
    });
    said.textContent = count + " of " + rows.length + " valves";
  }
  function key(row, at) {
    var said = row.cells[at].textContent.trim(), number = parseFloat(said.replace(/\s/g, "").replace("−", "-"));
    return { number: number, text: said, none: said === "–" };
  }
  function order(at, down) {
    rows.map(function (row) { return [key(row, at), row]; }).sort(function (a, b) {
      if (a[0].none !== b[0].none) { return a[0].none ? 1 : -1; }
      var both = !isNaN(a[0].number) && !isNaN(b[0].number);
      var less = both ? a[0].number - b[0].number : a[0].text.localeCompare(b[0].text);
      return down ? -less : less;
    }).forEach(function (pair) { body.append(pair[1]); });
  }
  Array.from(table.tHead.rows[0].cells).forEach(function (head, at) {
    var button = document.createElement("button");
    button.type = "button"; button.textContent = head.textContent; button.title = "Sort by this column";
    head.textContent = ""; head.append(button);
    button.addEventListener("click", function () {
      var down = head.getAttribute("aria-sort") === "ascending";
      Array.from(table.tHead.rows[0].cells).forEach(function (cell) { cell.removeAttribute("aria-sort"); });
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      order(at, down);
    });
  });
  text.addEventListener("input", show); pick.addEventListener("change", show);
  show();
}());
