(function () {
  "use strict";
  function value(cell) {
    if (!cell) return "";
    var v = cell.getAttribute("data-v");
    if (v === null) return cell.textContent.trim().toLowerCase();
    if (v === "" || v === "inf") return v === "" ? NaN : Infinity;
    return isNaN(Number(v)) ? v.toLowerCase() : Number(v);
  }
  function sort(table, column, down) {
    var body = table.tBodies[0], rows = Array.prototype.slice.call(body.rows);
    rows.forEach(function (row, i) { row._was = i; });
    rows.sort(function (a, b) {
      var x = value(a.cells[column]), y = value(b.cells[column]);
      var noX = typeof x === "number" && isNaN(x), noY = typeof y === "number" && isNaN(y);
      if (noX || noY) return noX && noY ? a._was - b._was : noX ? 1 : -1;
      var way = x < y ? -1 : x > y ? 1 : 0;
      return (down ? -way : way) || a._was - b._was;
    });
    rows.forEach(function (row) { body.appendChild(row); });
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (th, i) {
      if (i === column) th.setAttribute("aria-sort", down ? "descending" : "ascending");
      else th.removeAttribute("aria-sort");
    });
  }
  Array.prototype.forEach.call(document.querySelectorAll("table.sortable"), function (table) {
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (th, i) {
      var button = th.querySelector("button");
      if (!button) return;
      button.addEventListener("click", function () {
        var now = th.getAttribute("aria-sort");
        var first = th.getAttribute("data-first") === "down";
        sort(table, i, now === null ? first : now === "ascending");
      });
    });
  });
  Array.prototype.forEach.call(document.querySelectorAll("form.filter"), function (form) {
    var table = document.getElementById(form.getAttribute("data-table"));
    var told = document.getElementById(form.getAttribute("data-told"));
    function apply() {
      var shown = 0, rows = table.tBodies[0].rows;
      Array.prototype.forEach.call(rows, function (row) {
        var keep = Array.prototype.every.call(form.elements, function (field) {
          if (!field.name || field.value === "") return true;
          if (field.type === "checkbox") return !field.checked || row.getAttribute("data-" + field.name) === field.value;
          if (field.type === "search") {
            return row.textContent.toLowerCase().indexOf(field.value.trim().toLowerCase()) >= 0;
          }
          if (field.type === "number") {
            var v = Number(row.getAttribute("data-" + field.name) || NaN), limit = Number(field.value);
            return field.getAttribute("data-side") === "most" ? v <= limit : v >= limit;
          }
          return row.getAttribute("data-" + field.name) === field.value;
        });
        row.hidden = !keep;
        if (keep) shown += 1;
      });
      if (told) told.textContent = shown + " of " + rows.length + " shown";
    }
    form.addEventListener("input", apply);
    form.addEventListener("reset", function () { window.setTimeout(apply, 0); });
    form.addEventListener("submit", function (event) { event.preventDefault(); });
    apply();
  });
  var box = document.createElement("div");
  box.id = "tip"; box.hidden = true; box.setAttribute("aria-hidden", "true");
  document.body.appendChild(box);
  function show(mark) {
    box.textContent = mark.getAttribute("aria-label");
    box.hidden = false;
    var r = mark.getBoundingClientRect(), w = box.offsetWidth, h = box.offsetHeight;
    var x = Math.min(Math.max(6, r.left + r.width / 2 - w / 2), document.documentElement.clientWidth - w - 6);
    var y = r.top - h - 8 < 4 ? r.bottom + 8 : r.top - h - 8;
    box.style.left = x + "px"; box.style.top = y + "px";
  }
  function hide() { box.hidden = true; }
  function choose(mark) {
    var group = mark.closest("g[id]"), found = group && /-v(\d+)$/.exec(group.id);
    var row = found && document.getElementById("variant-" + found[1]);
    if (!row) return;
    Array.prototype.forEach.call(document.querySelectorAll("tr.pointed"), function (other) {
      other.classList.remove("pointed");
      other.removeAttribute("aria-current");
    });
    row.classList.add("pointed");
    row.setAttribute("aria-current", "true");
    row.hidden = false;
    if (picture(found[1], row)) return;
    row.scrollIntoView({ block: "center", inline: "nearest" });
    row.focus({ preventScroll: true });
  }
  function picture(number, row) {
    var all = document.getElementById("pictures"), own = document.getElementById("picture-" + number);
    if (!all) return false;
    Array.prototype.forEach.call(all.querySelectorAll("figure"), function (each) { each.hidden = each !== own; });
    var held = own && own.querySelector("template");
    if (held) {
      held.replaceWith(held.content);
      window.startHand(own.querySelector(".hand"));
    }
    var none = document.getElementById("picture-none");
    none.hidden = own !== null;
    none.textContent = own ? "" : "There is no picture of no. " + number + ", " + row.cells[1].firstChild.textContent + ".";
    all.setAttribute("data-at", number);
    if (own) all.scrollIntoView({ block: "nearest" });
    return own !== null;
  }
  Array.prototype.forEach.call(document.querySelectorAll("svg .tip"), function (mark) {
    mark.addEventListener("pointerenter", function () { show(mark); });
    mark.addEventListener("pointerleave", hide);
    mark.addEventListener("focus", function () { show(mark); });
    mark.addEventListener("blur", hide);
    mark.addEventListener("click", function () { show(mark); choose(mark); });
    mark.addEventListener("keydown", function (event) {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      choose(mark);
    });
  });
  document.addEventListener("keydown", function (event) { if (event.key === "Escape") hide(); });
  window.addEventListener("scroll", hide, { passive: true });
})();
