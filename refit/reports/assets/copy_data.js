/* The copy at work, first part: the data as rows that know each other, small tools, folding, ticks. The three parts are
   put together inside one function (reports/copy.py). They ask for nothing and change nothing outside the page; every
   word from the data goes in as text, never as markup. */
const FEW = 50;
const OLD = 7; // days, from which the age stands out
const A_DAY = 86400000;
const data = JSON.parse(document.getElementById("data").textContent);

// --- the data, as reports/copy.py lays it out ------------------------------------------------------------------
const places = data.places.map(([code, mark, name, area, where, inside, note, cautions, foldedMark, folded], at) =>
  ({ at, code, mark, name, area, where, inside, note, cautions, foldedMark, folded, plate: mark || name, held: [], boxes: [] }));
const parts = data.parts.map(([name, spec, numbers, unit, search], at) =>
  ({ at, name, spec, numbers, unit, search, held: [] }));
const jobs = data.fetch.map(([number, title, state, rows]) => ({
  number, title, state,
  rows: rows.map(([place, part, quantity, note], at) => ({ place: places[place], part: parts[part], quantity, note, tick: `f${number}.${at}` })),
}));
const shops = data.town.map(([shop, words, rows], at) => ({
  shop, words, rows: rows.map(([part, size, quantity, job, fits], row) => ({ part, size, quantity, job, fits, tick: `t${at}.${row}` })),
}));
for (const [part, place, quantity, level, lot, expires, bad] of data.holdings) {
  const held = { part: parts[part], place: places[place], quantity, level, lot, expires, bad, jobs: [] };
  held.part.held.push(held);
  held.place.held.push(held);
}
for (const place of places) if (place.inside >= 0) places[place.inside].boxes.push(place);
for (const job of jobs) {
  for (const row of job.rows) {
    const held = row.part.held.find((one) => one.place === row.place && !one.bad);
    if (held) held.jobs.push([job, row.quantity]);
  }
}
const byCode = new Map(places.map((place) => [place.code, place]));

// --- small tools -------------------------------------------------------------------------------------------------
const main = document.getElementById("main");

function make(tag, words, ...children) {
  const node = document.createElement(tag);
  if (words) node.className = words;
  for (const child of children) if (child !== "" && child != null) node.append(child);
  return node;
}

function said(text, words, tag = "span") {
  const node = make(tag, words);
  const name = document.createElement("bdi");
  name.textContent = text;
  node.append(name);
  return node;
}

function link(to, words, ...children) {
  const node = make("a", words, ...children);
  node.href = `#${to}`;
  return node;
}

const plural = (count, word) => `${count.toLocaleString("en-GB")} ${word}${count === 1 ? "" : "s"}`;
const day = (iso) => new Date(`${iso}T12:00`).toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" });

function today() {
  const now = new Date();
  const two = (number) => String(number).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

// --- folding: the same as calc/text.py, which made the folded words in the data -------------------------------------
const PLAIN = { "ø": "o", "æ": "ae", "œ": "oe", "đ": "d", "ð": "d", "þ": "th", "ł": "l", "ħ": "h", "ı": "i", "⁄": "/" };

function fold(text) {
  let plain = text;
  for (let pass = 0; pass < 2; pass += 1) {
    plain = plain.replace(/[^ı]+/g, (run) => run.toUpperCase().toLowerCase()).replace(/ς/g, "σ").normalize("NFKD");
  }
  return plain
    .replace(/\p{Mn}/gu, "")
    .replace(/[øæœđðþłħı⁄]/g, (letter) => PLAIN[letter])
    .replace(/[\u200b\u200e\u200f\u061c\u202a-\u202e\u2060\u2066-\u2069\ufeff]/g, "")
    .replace(/[\s_\-\u00ad\u2010-\u2015\u2212\u0085\u001c-\u001f]+/g, "")
    .replace(/(\p{Nd})[×*∗✕✖](?=\p{Nd})/gu, "$1x");
}

// --- ticks: kept in this page, and by the phone where it lets us -----------------------------------------------------
const shelf = `copy ${data.boat} ${data.made}`;
let ticked = new Set();
let keeps = true;
try {
  ticked = new Set(JSON.parse(localStorage.getItem(shelf) || "[]"));
  localStorage.setItem(shelf, JSON.stringify([...ticked]));
} catch {
  keeps = false;
}

function tick(name, on) {
  if (on) ticked.add(name);
  else ticked.delete(name);
  try {
    localStorage.setItem(shelf, JSON.stringify([...ticked]));
  } catch {
    keeps = false;
  }
}

function tickWarning() {
  const lasting = keeps ? "Ticks stay on this phone." : "Ticks are forgotten when this page closes.";
  return make("p", "care", make("strong", "", lasting), " The program does not hear of them: enter there what you took or bought.");
}

function tickRow(row, words, count) {
  const box = document.createElement("input");
  box.type = "checkbox";
  box.checked = ticked.has(row.tick);
  const label = make("label", "row row-tick", box, ...words);
  label.classList.toggle("ticked", box.checked);
  box.addEventListener("change", () => {
    tick(row.tick, box.checked);
    label.classList.toggle("ticked", box.checked);
    count();
  });
  return make("li", "", label);
}

const done = (rows) => rows.filter((row) => ticked.has(row.tick)).length;
