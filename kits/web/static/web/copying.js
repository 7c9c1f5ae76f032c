// What is copied out of a table goes into a spreadsheet: one row a record, one fact a cell, days as year-month-day.
(function () {
  "use strict";
  const APART = "br, div, li, p, .besides, .sub";
  const UNSAID = "button, details:not(.prints), summary, svg, .visually-hidden, [aria-hidden='true'], input[type='hidden']";
  const NOTHING = "\u0000";
  const STARTS_A_FORMULA = /^'*[=+\-@\uff1d\uff0b\uff0d\uff20]/, PLAIN_NUMBER = /^[+-]?\d+([.,]\d+)*$/;

  // The facts of a cell: what stands first, and what stands beside or under it.
  function factsOf(cell) {
    let facts = [""];
    function walk(node) {
      if (node.nodeType === Node.TEXT_NODE) { facts[facts.length - 1] += node.data; return; }
      if (node.nodeType !== Node.ELEMENT_NODE || node.matches(UNSAID)) { return; }
      if (node.matches("time[datetime]")) { facts[facts.length - 1] += node.getAttribute("datetime"); return; }
      if (node.matches("input[type='checkbox'], input[type='radio']")) { return; }
      if (node.matches("select")) { facts[facts.length - 1] += node.selectedOptions.length ? node.selectedOptions[0].text : ""; return; }
      if (node.matches("input, textarea")) { facts[facts.length - 1] += node.value; return; }
      const apart = node.matches(APART);
      if (node.matches(".besides, .sub") && !facts.join("").trim()) { facts = [NOTHING]; } // its place stays, though nothing stands there
      if (apart) { facts.push(""); }
      node.childNodes.forEach(walk);
      if (apart) { facts.push(""); }
    }
    cell.childNodes.forEach(walk);
    return facts.map(function (fact) { return fact.replace(/\s+/g, " ").trim(); }).filter(Boolean).map(function (fact) { return fact === NOTHING ? "" : fact; });
  }

  // The cells of a row by the column in which they stand; those that are not selected are nothing.
  function cellsOf(row, range) {
    const cells = [];
    Array.from(row.cells).forEach(function (cell) {
      cells.push(range.intersectsNode(cell) ? factsOf(cell) : []);
      for (let more = 1; more < cell.colSpan; more += 1) { cells.push([]); }
    });
    return cells;
  }

  function isRecord(row, range) {
    return range.intersectsNode(row) && !row.matches(".why") && !row.closest("tfoot") && !row.querySelector("[scope='rowgroup']");
  }

  function rowsOf(table, range) {
    const rows = Array.from(table.rows).filter(function (row) { return isRecord(row, range); })
      .map(function (row) { return cellsOf(row, range); });
    const widths = [];
    rows.forEach(function (cells) {
      cells.forEach(function (facts, place) { widths[place] = Math.max(widths[place] || 1, facts.length); });
    });
    return rows.map(function (cells) {
      return widths.flatMap(function (width, place) {
        const facts = cells[place] || [];
        return Array.from({ length: width }, function (_, fact) { return quoted(facts[fact] || ""); });
      });
    });
  }

  // A text that a spreadsheet would work out stays a text.
  function quoted(text) { return STARTS_A_FORMULA.test(text) && !PLAIN_NUMBER.test(text) ? "'" + text : text; }

  function asTable(rows) {
    const table = document.createElement("table");
    rows.forEach(function (facts) {
      const row = table.insertRow();
      facts.forEach(function (fact) { row.insertCell().textContent = fact; });
    });
    return table.outerHTML;
  }

  // The table that all of a selection lies in, if it takes in more than one of its cells.
  function tableOf(range) {
    const around = range.commonAncestorContainer;
    const within = around.nodeType === Node.ELEMENT_NODE ? around : around.parentElement;
    if (within.closest("td, th")) { return null; }
    if (within.closest("table")) { return within.closest("table"); }
    const tables = Array.from(within.querySelectorAll("table")).filter(function (one) { return range.intersectsNode(one); });
    if (tables.length !== 1) { return null; }
    const before = document.createRange(), after = document.createRange();
    before.setStart(range.startContainer, range.startOffset);
    before.setEndBefore(tables[0]);
    after.setStartAfter(tables[0]);
    after.setEnd(range.endContainer, range.endOffset);
    return before.toString().trim() || after.toString().trim() ? null : tables[0];
  }

  document.addEventListener("copy", function (event) {
    const chosen = document.getSelection();
    if (event.target.closest && event.target.closest("input, textarea") || chosen.rangeCount !== 1 || chosen.isCollapsed) { return; }
    const range = chosen.getRangeAt(0), table = tableOf(range);
    const rows = table ? rowsOf(table, range) : [];
    if (!rows.length) { return; }
    event.clipboardData.setData("text/plain", rows.map(function (facts) { return facts.join("\t"); }).join("\n"));
    event.clipboardData.setData("text/html", asTable(rows));
    event.preventDefault();
  });
})();
