// The order form while one types. The server works everything out; without this the page has a button for it.
(() => {
  "use strict";

  const form = () => document.getElementById("order");
  const named = (name) => form().elements.namedItem(name);
  const number = (text) => Number(text.replace(/\s/g, "").replace(",", "."));

  // The other price is shown as what it comes to, and stays empty: only what a person typed is sent.
  const hint = (line) => {
    const box = (end) => line.querySelector(`input[name$="-${end}"]`);
    const [packs, each, total] = [box("packs"), box("each"), box("total")];
    const many = packs.value ? number(packs.value) : 1;
    const show = (input, value) => { input.placeholder = Number.isFinite(value) ? value.toFixed(2) : ""; };
    show(total, each.value && !total.value ? many * number(each.value) : NaN);
    show(each, total.value && !each.value ? number(total.value) / many : NaN);
  };

  const abroad = () => {
    const home = form().dataset.home;
    const code = named("currency").value.trim().toUpperCase() || home;
    for (const span of form().querySelectorAll("[data-currency]:not(option)")) {
      const charge = span.closest(".charge");
      const own = charge ? charge.querySelector("input[name$='-currency']").value.trim().toUpperCase() : "";
      span.textContent = own || code;
    }
    for (const part of form().querySelectorAll("[data-abroad]")) {
      part.hidden = code === home && !part.querySelector("[aria-invalid]");
    }
  };

  const taxOnly = () => {
    for (const part of form().querySelectorAll("[data-tax-only]")) {
      const kind = part.closest("fieldset").querySelector("select[name$='-kind']");
      part.hidden = kind.value !== "tax" && !part.querySelector(":checked, [aria-invalid]");
    }
  };

  // A known supplier brings the currency and the way prices are printed that were used last.
  const habits = () => {
    const typed = named("supplier").value.trim().toLowerCase();
    const known = [...document.querySelectorAll("#suppliers option")].find((option) => option.value.toLowerCase() === typed);
    if (!known || named("habits").value === known.dataset.pk) return;
    named("habits").value = known.dataset.pk;
    if (!known.dataset.currency) return;
    named("currency").value = known.dataset.currency;
    named("prices").value = known.dataset.prices;
    named("tax_percent").value = known.dataset.tax;
    abroad();
  };

  const weigh = () => {
    const said = form().querySelector("[data-weigh-lines]");
    for (const row of said ? said.dataset.weighLines.split(" ").filter(Boolean) : []) {
      const part = form().querySelector(`[data-weigh="${row}"]`);
      if (!part || !part.hidden) continue;
      part.hidden = false;
      const folded = part.closest("details");
      if (folded) folded.open = true;
    }
  };

  const prepare = () => {
    if (!form()) return;
    for (const part of form().querySelectorAll("[data-without-script]")) part.hidden = true;
    for (const line of form().querySelectorAll(".line")) hint(line);
    abroad();
    taxOnly();
    weigh();
  };

  document.addEventListener("input", (event) => {
    if (!form() || event.target.form !== form()) return;
    const line = event.target.closest(".line");
    // Other words than the part's name: it is no longer that part.
    if (line && event.target.name.endsWith("-what")) line.querySelector("input[name$='-part']").value = "";
    if (line) hint(line);
    if (event.target.name.endsWith("currency")) abroad();
    if (event.target.name === "supplier") habits();
  });
  document.addEventListener("change", (event) => {
    if (!form() || event.target.form !== form()) return;
    if (event.target.name === "supplier") habits();
    taxOnly();
  });
  document.addEventListener("DOMContentLoaded", prepare);
  document.addEventListener("htmx:afterSettle", prepare);
})();
