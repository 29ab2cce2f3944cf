"use strict";
(() => {
  const field = (id) => document.getElementById(id);
  const form = field("filters"), state = field("state");
  const towers = [...document.querySelectorAll(".tower")];
  const table = field("overview"), body = table.tBodies[0], atAGlance = [...body.rows];
  const names = ["verdict", "topic", "line", "status", "text"];

  /* Rows of a tower with their tokens: number of the rule, then the letter of a verdict. */
  const rows = new Map(), words = new Map();
  function once(store, tower, make) {
    if (!store.has(tower)) store.set(tower, make(tower));
    return store.get(tower);
  }
  const rowsOf = (tower) => [...tower.querySelectorAll("tr[data-t]")].map((row) => [row, row.dataset.t.split(",")]);
  const wordsOf = (tower) => [...tower.querySelectorAll("summary, .q, .stakes, .relaxations, .sides small")].map((part) => part.textContent).join("\n").toLowerCase();

  function matches(tower, wanted) {
    if (wanted.line && tower.dataset.line !== wanted.line) return false;
    if (wanted.status && tower.dataset.status !== wanted.status) return false;
    if (wanted.text && !once(words, tower, wordsOf).includes(wanted.text.toLowerCase())) return false;
    if (!wanted.topic && !wanted.verdict) return true;
    const fits = (token) =>
      (!wanted.topic || token.slice(0, -1) === wanted.topic) && (!wanted.verdict || token.endsWith(wanted.verdict));
    let any = false;
    for (const [row, tokens] of once(rows, tower, rowsOf)) {
      const hit = tokens.some(fits);
      row.classList.toggle("hit", hit);
      any ||= hit;
    }
    return any;
  }

  const label = (id) => {
    const input = field(id);
    return id === "text" ? `“${input.value.trim()}”` : input.selectedOptions[0].textContent.trim();
  };

  function apply() {
    const wanted = Object.fromEntries(names.map((id) => [id, field(id).value.trim()]));
    const set = names.filter((id) => wanted[id]);
    let shown = 0;
    document.querySelectorAll("tr.hit").forEach((row) => row.classList.remove("hit"));
    towers.forEach((tower, number) => {
      tower.hidden = atAGlance[number].hidden = !matches(tower, wanted);
      shown += !tower.hidden;
    });
    const filters = set.map((id) => `${id === "topic" ? "rule" : id} ${label(id)}`).join("; ");
    const count = `showing ${shown} of ${towers.length} towers`;
    state.textContent = set.length ? `filtered: ${filters} – ${count}` : count;
    document.documentElement.classList.toggle("filtered", set.length > 0);
  }

  const openAll = (open) => towers.forEach((tower) => { if (!tower.hidden) tower.open = open; });
  names.forEach((id) => field(id).addEventListener(id === "text" ? "input" : "change", apply));
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", () => setTimeout(apply));
  field("open").addEventListener("click", () => openAll(true));
  field("close").addEventListener("click", () => openAll(false));

  /* Columns are sorted by their heads; what is unknown stays last either way. */
  const heads = [...table.tHead.rows[0].cells];
  const key = (row, column) => row.cells[column].dataset.v;
  function sort(column, down) {
    const known = atAGlance.filter((row) => key(row, column) !== undefined);
    known.sort((one, other) => (key(one, column) - key(other, column)) * (down ? -1 : 1));
    body.append(...known, ...atAGlance.filter((row) => key(row, column) === undefined));
    heads.forEach((head, number) => {
      if (number === column) head.setAttribute("aria-sort", down ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    });
  }
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => sort(column, head.getAttribute("aria-sort") === "ascending"));
  });

  /* A link to a tower opens it. */
  addEventListener("click", (event) => {
    const link = event.target.closest?.('a[href^="#t"]');
    const tower = link && field(link.hash.slice(1))?.closest("details");
    if (tower) tower.open = true;
  });

  /* Paper shows every tower that is not filtered out, open, and says in each footer when it was printed. */
  const sheet = document.styleSheets[0];
  let closed = [], dated = -1;
  addEventListener("beforeprint", () => {
    closed = towers.filter((tower) => !tower.open);
    openAll(true);
    const now = new Date(), two = (number) => String(number).padStart(2, "0");
    const day = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
    if (dated >= 0) sheet.deleteRule(dated);
    dated = sheet.insertRule(`@page { @bottom-center { content: "printed ${day}"; font: 8pt sans-serif; } }`, sheet.cssRules.length);
  });
  addEventListener("afterprint", () => closed.forEach((tower) => { tower.open = false; }));
  apply();
})();
