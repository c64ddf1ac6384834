(function () {
  "use strict";

  function full(cell) {
    return cell.hasAttribute("data-v") ? cell.getAttribute("data-v") : cell.textContent;
  }

  function compare(number, up) {
    return function (one, other) {
      var a = one.key, b = other.key;
      if (a === "" || b === "") { return a === b ? 0 : a === "" ? 1 : -1; } // empty ones last
      var found = number ? Number(a) - Number(b) : a < b ? -1 : a > b ? 1 : 0;
      return up ? found : -found;
    };
  }

  function sort(table, head, column) {
    var up = head.getAttribute("aria-sort") !== "ascending";
    var rows = Array.prototype.slice.call(table.tBodies[0].rows);
    var keyed = rows.map(function (row) { return { row: row, key: full(row.cells[column]) }; });
    keyed.sort(compare(head.classList.contains("n"), up)); // a stable sort
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (cell) {
      cell.removeAttribute("aria-sort");
    });
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    keyed.forEach(function (one) { table.tBodies[0].appendChild(one.row); });
  }

  function copied(table) {
    return Array.prototype.map.call(table.rows, function (row) {
      return Array.prototype.map.call(row.cells, full).join("\t");
    }).join("\n") + "\n";
  }

  function byHand(text) {
    var box = document.createElement("textarea");
    box.value = text;
    document.body.appendChild(box);
    box.select();
    var done = document.execCommand("copy");
    box.remove();
    return done;
  }

  function copy(table, button) {
    var text = copied(table);
    function say(done) {
      button.textContent = done ? "Copied" : "Could not copy";
      window.setTimeout(function () { button.textContent = "Copy"; }, 2000);
    }
    if (navigator.clipboard && navigator.clipboard.writeText) {
      navigator.clipboard.writeText(text).then(
        function () { say(true); }, function () { say(byHand(text)); });
    } else {
      say(byHand(text));
    }
  }

  Array.prototype.forEach.call(document.querySelectorAll("table.data"), function (table) {
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (head, column) {
      var button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.title = "Sort by this column";
      while (head.firstChild) { button.appendChild(head.firstChild); }
      head.appendChild(button);
      button.addEventListener("click", function () { sort(table, head, column); });
    });
    var button = document.createElement("button");
    button.type = "button";
    button.className = "copy";
    button.textContent = "Copy";
    button.setAttribute("aria-label", "Copy the table " + table.caption.textContent);
    button.addEventListener("click", function () { copy(table, button); });
    table.parentNode.parentNode.insertBefore(button, table.parentNode);
  });
  Array.prototype.forEach.call(document.querySelectorAll(".how"), function (one) {
    one.hidden = false;
  });
}());
