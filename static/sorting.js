/* Tables that the reader sorts: each column's heading becomes a button, `aria-sort` says what holds.

   Without this script the rows stay as the server sent them. */
import { closest, queryAll } from "/static/dom.js";

const words = new Intl.Collator(undefined, { numeric: true });

for (const table of queryAll(document, "table.sortable", HTMLTableElement)) {
  for (const heading of queryAll(table, "thead th", HTMLTableCellElement)) {
    // A heading with words for screen readers only has nothing to sort by.
    if (!heading.textContent.trim() || heading.querySelector("a, .unseen")) continue;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "plain sort";
    button.append(...heading.childNodes);
    heading.append(button);
  }
  table.addEventListener("click", (event) => {
    const button = closest(event.target, "button.sort", HTMLButtonElement);
    const heading = button && closest(button, "th", HTMLTableCellElement);
    if (heading) sortBy(table, heading);
  });
}

/**
 * Sort the rows by a column, upwards first, then downwards; equal rows keep their order.
 * @param {HTMLTableElement} table
 * @param {HTMLTableCellElement} heading
 */
function sortBy(table, heading) {
  const down = heading.getAttribute("aria-sort") === "ascending";
  for (const each of queryAll(table, "thead th", HTMLTableCellElement)) each.removeAttribute("aria-sort");
  heading.setAttribute("aria-sort", down ? "descending" : "ascending");
  for (const body of table.tBodies) {
    const rows = Array.from(body.rows, (row) => ({ row, key: keyOf(row.cells[heading.cellIndex]) }));
    rows.sort((one, other) => (down ? compare(other.key, one.key) : compare(one.key, other.key)));
    body.append(...rows.map(({ row }) => row));
  }
}

/**
 * Return what a cell is sorted by: its number if its text begins with one, else the text.
 * @param {HTMLTableCellElement | undefined} cell
 */
function keyOf(cell) {
  const text = (cell?.textContent ?? "").trim().replace("\u2212", "-");
  const number = Number.parseFloat(text);
  return Number.isNaN(number) ? text : number;
}

/**
 * Numbers come before words, and a dash before all.
 * @param {string | number} one
 * @param {string | number} other
 */
function compare(one, other) {
  if (typeof one === "number" && typeof other === "number") return one - other;
  if (one === "–" || other === "–") return Number(other === "–") - Number(one === "–");
  return words.compare(String(one), String(other));
}
