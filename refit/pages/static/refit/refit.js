// Small helps for pages that work without them. Nothing here decides anything: the server does.
(() => {
  "use strict";

  const desk = window.matchMedia("(min-width: 900px)");
  const fold = (text) =>
    text.normalize("NFKD").replace(/[\u0300-\u036f]/g, "").toLowerCase().replace(/×/g, "x").replace(/[\s\-.,/]+/g, "");

  // A form acts once. The buttons are only marked: a disabled one would not be sent with its name and value.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || form.method !== "post" || form.matches("[hx-post]")) return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "1";
    for (const button of form.querySelectorAll("button:not([type=button])")) button.setAttribute("aria-disabled", "true");
    // An answer that is a file leaves the page standing: free it again.
    window.setTimeout(() => release(form), 10000);
  });
  const release = (form) => {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("[aria-disabled]")) button.removeAttribute("aria-disabled");
  };
  // After Back the page comes as it was left: let it be sent again.
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) release(form);
  });

  document.addEventListener("change", (event) => {
    if (event.target.matches("[data-autosubmit]") && event.target.value) event.target.form.requestSubmit();
  });

  // A number is mostly replaced, seldom edited.
  document.addEventListener("focusin", (event) => {
    if (event.target.matches("input[inputmode=decimal], input[inputmode=numeric]")) event.target.select();
  });

  // A choice from what was found: fill the fields it names, within its chooser or its form.
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-choose]");
    if (!button) return;
    event.preventDefault();
    const room = button.closest("[data-chooser]") || button.form;
    const filled = [];
    for (const [name, value] of Object.entries(JSON.parse(button.dataset.choose))) {
      for (const input of room.querySelectorAll("input, select, textarea")) {
        if (input.name !== name && !input.name.endsWith("-" + name)) continue;
        input.value = value;
        filled.push(input);
      }
    }
    const found = button.closest(".found");
    if (found) found.replaceChildren();
    for (const input of filled) input.dispatchEvent(new Event("change", { bubbles: true }));
    const seen = filled.find((input) => input.type !== "hidden");
    if (button.hasAttribute("data-choose-send")) room.closest("form").requestSubmit();
    else if (seen) seen.focus();
  });

  document.addEventListener("input", (event) => {
    if (!event.target.matches("[data-filter-list]")) return;
    const wanted = fold(event.target.value);
    const list = document.querySelector(event.target.dataset.filterList);
    for (const item of list.children) item.hidden = !fold(item.textContent).includes(wanted);
  });

  // Tables on a phone: a row opens for the columns that did not fit.
  const openRow = (button, row) => {
    const next = row.nextElementSibling;
    if (next && next.classList.contains("rest")) {
      next.remove();
      delete row.dataset.open;
      button.setAttribute("aria-expanded", "false");
      return;
    }
    const facts = document.createElement("dl");
    for (const cell of row.querySelectorAll(".wide")) {
      if (!cell.textContent.trim()) continue;
      const word = document.createElement("dt");
      const value = document.createElement("dd");
      word.textContent = cell.dataset.label || "";
      for (const node of cell.childNodes) value.append(node.cloneNode(true));
      facts.append(word, value);
    }
    const rest = document.createElement("tr");
    const all = document.createElement("td");
    rest.className = "rest phone-only";
    all.colSpan = row.cells.length;
    all.append(facts);
    rest.append(all);
    row.after(rest);
    row.dataset.open = "1";
    button.setAttribute("aria-expanded", "true");
  };
  const prepare = (root) => {
    for (const table of root.querySelectorAll("table")) {
      if (table.classList.contains("more-ready") || !table.querySelector("tbody .wide[data-label]")) continue;
      table.classList.add("more-ready");
      for (const row of table.tBodies[0].rows) {
        if (!row.querySelector(".wide[data-label]")) continue;
        const button = document.createElement("button");
        button.type = "button";
        button.className = "more";
        button.setAttribute("aria-expanded", "false");
        button.setAttribute("aria-label", "More of " + row.cells[0].textContent.trim().split("\n")[0]);
        button.addEventListener("click", () => openRow(button, row));
        row.cells[0].prepend(button);
      }
    }
    for (const details of root.querySelectorAll("details[data-open-on-desk]")) if (desk.matches) details.open = true;
  };
  // What is chosen from a list is said beside it, where the list asks for that.
  document.addEventListener("change", (event) => {
    const says = event.target.dataset && event.target.dataset.says;
    if (says) document.getElementById(says).textContent = event.target.selectedOptions[0].dataset.said;
  });
  document.addEventListener("DOMContentLoaded", () => prepare(document));
  document.addEventListener("htmx:load", (event) => {
    if (event.target.querySelectorAll && event.target !== document.body) prepare(event.target);
  });
})();
