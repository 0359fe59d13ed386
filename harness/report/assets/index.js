"use strict";
(() => {
document.documentElement.classList.replace("still", "running");
const table = document.getElementById("runs");
const body = table.tBodies[0];
const rows = [...body.rows];
const heads = [...table.tHead.rows[0].cells];
const count = document.getElementById("count");
const words = document.getElementById("words");
let verdict = "";

const texts = rows.map((r) => (r.cells[1].textContent + " " + r.cells[3].textContent).toLowerCase());
function filter() {
  const want = words.value.trim().toLowerCase();
  let n = 0;
  rows.forEach((r, i) => {
    const show = (!verdict || r.dataset.v === verdict) && (!want || texts[i].includes(want));
    r.hidden = !show;
    if (show) n++;
  });
  count.textContent = n === rows.length ? "" : n + " of " + rows.length + " shown";
}
for (const r of document.querySelectorAll("input[name=verdict]")) {
  r.addEventListener("change", () => { verdict = r.value; filter(); });
}
words.addEventListener("input", filter);
document.querySelector("form").addEventListener("submit", (e) => e.preventDefault());

// A column sorts up, then down; rows without a value stay last.
const keyOf = (r, at, number) => {
  const c = r.cells[at], text = c.dataset.k ?? c.textContent;
  return number ? (c.textContent === "" ? NaN : Number(text)) : text;
};
for (const b of document.querySelectorAll("button[data-sort]")) {
  b.addEventListener("click", () => {
    const at = Number(b.dataset.sort), number = b.dataset.number === "1";
    const down = heads[at].getAttribute("aria-sort") === "ascending";
    for (const h of heads) h.removeAttribute("aria-sort");
    heads[at].setAttribute("aria-sort", down ? "descending" : "ascending");
    const sign = down ? -1 : 1;
    const keyed = rows.map((r, i) => ({ r, i, k: keyOf(r, at, number) }));
    keyed.sort((a, b) => {
      if (number) {
        const x = a.k !== a.k, y = b.k !== b.k;
        if (x || y) return x - y || a.i - b.i;
        return sign * (a.k - b.k) || a.i - b.i;
      }
      return sign * (a.k < b.k ? -1 : a.k > b.k ? 1 : 0) || a.i - b.i;
    });
    const all = document.createDocumentFragment();
    for (const x of keyed) all.append(x.r);
    body.append(all);
  });
}
})();
