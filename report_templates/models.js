"use strict";
for (const table of document.querySelectorAll("table.sortable")) {
  const body = table.tBodies[0], heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const keys = new Map([...body.rows].map((row) => [row, row.cells[column].dataset.sort]));
      const numbers = [...keys.values()].every((key) => key === "" || Number.isFinite(Number(key)));
      const before = head.getAttribute("aria-sort");
      const down = before ? before === "ascending" : numbers;
      const order = (a, b) => numbers ? Number(a) - Number(b) : a.localeCompare(b, document.documentElement.lang);
      const rows = [...body.rows].sort((one, other) => {
        const a = keys.get(one), b = keys.get(other);
        if (a === "" || b === "") return (a === "") - (b === "");
        return down ? order(b, a) : order(a, b);
      });
      heads.forEach((each) => each.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      body.append(...rows);
    });
  });
}
