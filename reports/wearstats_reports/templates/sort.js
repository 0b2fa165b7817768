// A heading of a long table becomes a button that sorts by it: once up, again down.
for (const table of document.querySelectorAll("table.sorts")) {
  const body = table.tBodies[0];
  const heads = [...table.tHead.rows[0].cells];
  const words = new Intl.Collator("en", { numeric: true });
  const said = (row, place) => {
    const cell = row.cells[place];
    if (cell.dataset.sort) return cell.dataset.sort;
    const marked = cell.querySelector("data, time");
    return marked ? marked.value || marked.dateTime : null;
  };
  const compare = (one, other, place, marked) => {
    if (!marked) return words.compare(one.cells[place].textContent, other.cells[place].textContent);
    const [a, b] = [said(one, place), said(other, place)];
    return isNaN(a) || isNaN(b) ? words.compare(a, b) : a - b;
  };
  heads.forEach((head, place) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const rows = [...body.rows];
      // What was not read or is not over has nothing to sort by: it stays at the end.
      const marked = rows.some((row) => said(row, place) !== null);
      const known = rows.filter((row) => !marked || said(row, place) !== null);
      known.sort((one, other) => (down ? -1 : 1) * compare(one, other, place, marked));
      body.append(...known, ...rows.filter((row) => !known.includes(row)));
    });
  });
  const how = document.createElement("small");
  how.className = "how";
  how.textContent = " press a heading to sort";
  table.caption.firstElementChild.append(how);
}
