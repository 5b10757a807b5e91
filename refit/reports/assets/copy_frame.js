/* The copy at work, last part: the find box, the ways, the age, and which view is shown. */
// --- the frame: find box, ways, age, and which view is shown ------------------------------------------------------------
const WAYS = [["find", "Find"], ["lockers", "Lockers"], ["fetch", "Fetch"], ["town", "Town"]];
const scrolled = new Map();
let shown = "";
let fresh = true;

function show() {
  const asked = location.hash.slice(1) || "find";
  const [name, which] = [asked.split("-")[0], asked.slice(asked.indexOf("-") + 1)];
  const view = document.createDocumentFragment();
  const one = asked.includes("-");
  if (name === "lockers") showLockers(view);
  else if (name === "locker") showLocker(view, which);
  else if (name === "fetch") (one ? showJob : showFetch)(view, which);
  else if (name === "town") showTown(view);
  else showFind(view);
  main.replaceChildren(view);
  main.className = name;
  const way = name === "locker" ? "lockers" : name;
  for (const node of document.querySelectorAll("#ways a")) {
    if (node.hash === `#${way}`) node.setAttribute("aria-current", "page");
    else node.removeAttribute("aria-current");
  }
  const moved = asked !== shown;
  shown = asked;
  if (!moved) return;
  document.title = `${main.querySelector("h1")?.textContent || "Copy"} · ${data.boat}`;
  window.scrollTo(0, fresh ? 0 : scrolled.get(asked) || 0);
  fresh = false;
  if (document.activeElement !== search) main.focus({ preventScroll: true });
}

function age() {
  const days = Math.floor((Date.now() - data.made) / A_DAY);
  const node = document.getElementById("age");
  if (days < -1) node.textContent = "Made later than this phone’s clock says it is now";
  else if (days >= OLD) node.textContent = `${plural(days, "day")} old: things may have moved since`;
  else if (days > 0) node.textContent = `, ${plural(days, "day")} old`;
  node.className = days >= OLD || days < -1 ? "old" : "";
}

function begin() {
  const box = document.getElementById("find");
  search.type = "search";
  search.id = "box";
  search.placeholder = "Part, number, mark or code";
  search.autocomplete = "off";
  search.autocapitalize = "none";
  search.spellcheck = false;
  search.maxLength = 100;
  search.enterKeyHint = "search";
  search.setAttribute("inputmode", "search");
  const label = make("label", "off", "Find a part, number or place");
  label.htmlFor = "box";
  heard.setAttribute("role", "status");
  box.append(label, search, heard);
  box.hidden = false;
  let waits = 0;
  search.addEventListener("input", () => {
    clearTimeout(waits);
    waits = setTimeout(() => {
      if (shown === "find") show();
      else { fresh = true; location.hash = "find"; }
      window.scrollTo(0, 0);
    }, 80);
  });
  search.addEventListener("keydown", (event) => { if (event.key === "Enter") search.blur(); });

  const ways = document.getElementById("ways");
  for (const [name, word] of WAYS) ways.append(link(name, "", word));
  ways.hidden = false;
  ways.addEventListener("click", (event) => {
    if (event.target.hash !== "#find") return;
    if (shown === "find") search.select();
    setTimeout(() => search.focus(), 0);
  });

  history.scrollRestoration = "manual";
  document.addEventListener("click", (event) => { if (event.target.closest("a")) fresh = true; });
  window.addEventListener("scroll", () => scrolled.set(shown, window.scrollY), { passive: true });
  window.addEventListener("hashchange", show);
  age();
  setInterval(age, 3600000);
  show();
}

begin();
