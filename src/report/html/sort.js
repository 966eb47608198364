"use strict";
// Headings of a table become buttons that sort it; rows without a value stay last.
for (const table of document.querySelectorAll("table.wide")) {
  const body = table.tBodies[0];
  table.querySelectorAll("thead th").forEach((heading, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...heading.childNodes);
    heading.append(button);
    const value = (row) => row.cells[column].dataset.value ?? row.cells[column].textContent;
    button.addEventListener("click", () => {
      const rising = heading.getAttribute("aria-sort") !== "ascending";
      table.querySelectorAll("th[aria-sort]").forEach((other) => other.removeAttribute("aria-sort"));
      heading.setAttribute("aria-sort", rising ? "ascending" : "descending");
      const rows = Array.from(body.rows, (row) => [value(row), row]);
      const order = ([a], [b]) => a - b || a.localeCompare(b, "en", { numeric: true });
      const known = rows.filter(([text]) => text !== "").sort(order);
      if (!rising) known.reverse();
      body.append(...known.map(([, row]) => row), ...rows.filter(([text]) => text === "").map(([, row]) => row));
    });
  });
}
