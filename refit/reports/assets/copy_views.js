/* The copy at work, second part: what each view shows. */
// --- pieces ---------------------------------------------------------------------------------------------------------
function plate(place) {
  const node = link(`locker-${place.code}`, "place", said(place.plate, "plate"));
  node.title = [place.name, place.area].filter((word) => word && word !== place.plate).join(", ");
  return node;
}

// What stands beside a plate: the name, and the area and how far away unless the name says so already.
function whereWords(place) {
  const name = place.mark && place.name;
  return [name, name.includes(place.area) ? "" : place.area, place.where].filter(Boolean).join(", ");
}

function quantity(held) {
  if (held.level) return make("span", `mark ${held.level === "low" ? "mark-warn" : "mark-ok"}`, held.level);
  const node = make("span", "qty", held.quantity);
  if (held.part.unit) node.append(" ", make("small", "", held.part.unit));
  return node;
}

function marks(held) {
  const found = [];
  if (held.bad) found.push(make("span", "mark mark-stop", held.bad));
  if (held.expires && held.expires < today()) found.push(make("span", "mark mark-stop", `out of date since ${day(held.expires)}`));
  else if (held.expires) found.push(make("span", "soft small", `to ${day(held.expires)}`));
  return found;
}

function about(part) {
  const words = [said(part.name, "", "b")];
  if (part.spec) words.push(said(part.spec, "soft small"));
  if (part.numbers.length) words.push(said(part.numbers.join(" · "), "soft small num-line"));
  return words;
}

function partRow(part) {
  const spots = make("div", "spots");
  for (const held of part.held) {
    const place = held.place;
    const words = make("span", "spot-name", said(whereWords(place), "soft small"), ...marks(held));
    spots.append(link(`locker-${place.code}`, "spot", said(place.plate, "plate"), words, quantity(held)));
  }
  if (!part.held.length) spots.append(make("span", "soft", "Lies nowhere aboard or ashore."));
  return make("li", "row", make("div", "what", ...about(part)), spots);
}

function placeRow(place, withArea) {
  const things = place.held.length + place.boxes.reduce((sum, box) => sum + box.held.length, 0);
  const what = make("span", "what");
  if (place.mark && place.name) what.append(said(place.name, "", "b"));
  const inside = [place.inside >= 0 ? `in ${places[place.inside].plate}` : "", withArea ? place.area : ""].filter(Boolean);
  if (inside.length) what.append(said(inside.join(" · "), "soft small"));
  if (place.cautions.length) what.append(make("span", "mark mark-warn", plural(place.cautions.length, "caution")));
  return make("li", "", link(`locker-${place.code}`, "row", said(place.plate, "plate"), what,
    make("span", "qty", String(things), make("span", "off", things === 1 ? " thing" : " things"))));
}

function areaHeading(place) {
  if (!place.area) return "";
  const heading = said(place.area, "", "h2");
  if (place.where) heading.append(" ", make("span", "mark", place.where));
  return heading;
}

function fewAtATime(view, list, rows, draw) {
  const more = make("button", "more");
  more.type = "button";
  let drawn = 0;
  const next = () => {
    list.append(...rows.slice(drawn, drawn + FEW).map(draw));
    drawn += FEW;
    more.hidden = drawn >= rows.length;
    more.textContent = `Show ${Math.min(FEW, rows.length - drawn)} more of ${(rows.length - drawn).toLocaleString("en-GB")}`;
  };
  more.addEventListener("click", next);
  next();
  view.append(list, make("div", "acts", more));
}

function empty(title, text) {
  return make("div", "empty", make("h2", "", title), make("p", "", text));
}

// --- find -----------------------------------------------------------------------------------------------------------
const search = document.createElement("input");
const heard = make("p", "off"); // says to those who hear the page how many were found

function found(text) {
  const whole = fold(text);
  if (!whole) return [];
  const words = text.split(/\s+/).map(fold).filter(Boolean);
  const code = whole.toUpperCase().replace(/O/g, "0").replace(/[IL]/g, "1");
  const hits = [];
  for (const place of places) {
    if (place.code === code) hits.push([0, place]);
    else if (place.foldedMark === whole) hits.push([1, place]);
    else if (whole.length > 1 && place.foldedMark.startsWith(whole)) hits.push([2, place]);
    else if (whole.length > 1 && place.folded.includes(whole)) hits.push([4, place]);
  }
  if (whole.length > 1) {
    for (const part of parts) {
      const nowhere = part.held.length ? 0 : 0.5; // what lies somewhere comes before its like that does not
      if (part.search.startsWith(whole)) hits.push([3 + nowhere, part]);
      else if (part.search.includes(whole)) hits.push([5 + nowhere, part]);
      else if (words.length > 1 && words.every((word) => part.search.includes(word))) hits.push([6 + nowhere, part]);
    }
  }
  return hits.sort((one, other) => one[0] - other[0] || one[1].at - other[1].at).map((hit) => hit[1]);
}

function doors(view) {
  let area = null;
  let plates = null;
  for (const place of places) {
    if (place.area !== area) {
      area = place.area;
      plates = make("p", "doors");
      view.append(areaHeading(place), plates);
    }
    if (place.inside < 0) plates.append(plate(place));
  }
}

function showFind(view) {
  const text = search.value.trim();
  const heading = make("h1", "", text ? "" : "Find");
  view.append(heading);
  if (!text) {
    view.append(make("p", "lead", `${plural(parts.length, "part")}, ${plural(places.length, "place")}.`),
      make("p", "", "Type some of a name, any number of a part, a mark, or the code on a label. Or open a door:"));
    doors(view);
    return;
  }
  const hits = found(text);
  heading.textContent = hits.length ? `${hits.length.toLocaleString("en-GB")} found` : "Nothing found";
  heard.textContent = heading.textContent;
  if (!hits.length) {
    view.append(make("p", "", fold(text).length < 2 ? "One letter finds a place of just that mark. Type one more." : "Try fewer letters, or another of its numbers. What was put away after this copy was made is not in it."));
    return;
  }
  fewAtATime(view, make("ul", "rows found"), hits, (hit) => (hit.code ? placeRow(hit, true) : partRow(hit)));
}

// --- lockers --------------------------------------------------------------------------------------------------------
function showLockers(view) {
  view.append(make("h1", "", "Lockers"));
  let area = null;
  let list = null;
  for (const place of places) {
    if (place.area !== area) {
      area = place.area;
      list = make("ul", "rows");
      view.append(areaHeading(place), list);
    }
    list.append(placeRow(place, false));
  }
  if (!places.length) view.append(empty("No places", "There were none when this copy was made."));
}

function contents(place, list) {
  for (const held of place.held) {
    const what = make("div", "what", ...about(held.part));
    if (held.lot) what.append(said(held.lot, "soft small"));
    what.append(...marks(held));
    for (const [job, much] of held.jobs) what.append(link(`fetch-${job.number}`, "wish", make("span", "mark", `job ${job.number} wants ${much}`)));
    list.append(make("li", "row", what, quantity(held)));
  }
}

function showLocker(view, code) {
  const place = byCode.get(code);
  if (!place) {
    view.append(empty("Not in this copy", "No place has this code here."));
    return;
  }
  const name = make("div", "", said(place.mark ? place.name || place.mark : place.name, "", "h1"));
  const where = [place.area, place.where].filter((word) => word && word !== place.plate).join(", ");
  if (where) name.append(said(where, "soft", "div"));
  if (place.inside >= 0) name.append(make("div", "soft", "in ", plate(places[place.inside])));
  name.append(make("span", "code", place.code));
  view.append(link("lockers", "back", "All lockers"), make("div", "head", said(place.plate, `plate plate-big${place.plate.length > 5 ? " plate-long" : ""}`), name));
  if (place.note) view.append(said(place.note, "", "p"));
  for (const caution of place.cautions) {
    const [head, ...rest] = caution.split(": ");
    view.append(make("p", "care", make("strong", "", `${head}:`), said(` ${rest.join(": ")}`)));
  }
  const list = make("ul", "rows");
  contents(place, list);
  if (place.held.length) view.append(list);
  else if (!place.boxes.length) view.append(empty("Nothing here", "Nothing lay here when this copy was made."));
  const queue = [...place.boxes];
  while (queue.length) {
    const box = queue.shift();
    queue.unshift(...box.boxes);
    const inside = make("ul", "rows");
    contents(box, inside);
    const heading = make("h2", "", plate(box));
    if (box.mark && box.name) heading.append(" ", said(box.name));
    view.append(heading, inside.children.length ? inside : make("p", "soft", "Nothing in it."));
  }
}

// --- fetch and town -----------------------------------------------------------------------------------------------
function jobRow(job) {
  const got = done(job.rows);
  const state = got === job.rows.length ? make("span", "mark mark-ok", "all ticked") : make("span", "qty", `${got}`, make("small", "", ` of ${job.rows.length}`));
  return make("li", "", link(`fetch-${job.number}`, "row", make("span", "number", String(job.number)),
    make("span", "what", said(job.title, "", "b"), make("span", "soft small", job.state)), state));
}

function showFetch(view) {
  view.append(make("h1", "", "Fetch"));
  if (!jobs.length) {
    view.append(empty("Nothing to fetch", "No open job had parts lying anywhere when this copy was made."));
    return;
  }
  view.append(make("p", "lead", "Pick the job; its list runs from bow to stern."));
  fewAtATime(view, make("ul", "rows"), jobs, jobRow);
}

function showJob(view, number) {
  const job = jobs.find((one) => String(one.number) === number);
  if (!job) {
    view.append(empty("Not in this copy", "This job had nothing to fetch when the copy was made."));
    return;
  }
  const tally = make("p", "lead");
  tally.setAttribute("role", "status");
  const count = () => { tally.textContent = `Job ${job.number} · ${done(job.rows)} of ${job.rows.length} ticked`; };
  count();
  view.append(link("fetch", "back", "All jobs"), said(job.title, "", "h1"), tally, tickWarning());
  let place = null;
  let list = null;
  for (const row of job.rows) {
    if (row.place !== place) {
      place = row.place;
      list = make("ul", "rows");
      const heading = make("h2", "stop", plate(place), " ", said(whereWords(place), "soft small"));
      view.append(heading);
      for (const caution of place.cautions) view.append(make("p", "care", caution));
      view.append(list);
    }
    const words = [make("span", "what", ...about(row.part), row.note ? make("span", "mark mark-warn", row.note) : ""), make("span", "qty", row.quantity)];
    list.append(tickRow(row, words, count));
  }
}

function showTown(view) {
  view.append(make("h1", "", "Town"));
  if (!shops.length) {
    view.append(empty("Nothing to buy", "The list for town was empty when this copy was made."));
    return;
  }
  const all = shops.flatMap((shop) => shop.rows);
  const tally = make("p", "lead");
  tally.setAttribute("role", "status");
  const count = () => { tally.textContent = `${done(all)} of ${all.length} ticked`; };
  count();
  view.append(tally, tickWarning());
  for (const shop of shops) {
    const list = make("ul", "rows");
    for (const row of shop.rows) {
      const what = make("span", "what", said(row.part, "", "b"));
      if (row.size) what.append(said(row.size, "soft small"));
      if (row.fits) what.append(said(`must fit: ${row.fits}`, "soft small"));
      if (row.job) what.append(said(row.job, "mark"));
      list.append(tickRow(row, [what, make("span", "qty", row.quantity)], count));
    }
    view.append(said(shop.shop, "", "h2"), shop.words ? said(shop.words, "soft", "p") : "", list);
  }
}
