"use strict";
(() => {
  const field = (id) => document.getElementById(id);
  const form = field("filters"), state = field("state");
  const towers = [...document.querySelectorAll(".tower")];
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
    for (const tower of towers) {
      tower.hidden = !matches(tower, wanted);
      shown += !tower.hidden;
    }
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

  /* Paper shows every tower that is not filtered out, open. */
  let closed = [];
  addEventListener("beforeprint", () => {
    closed = towers.filter((tower) => !tower.open);
    openAll(true);
  });
  addEventListener("afterprint", () => closed.forEach((tower) => { tower.open = false; }));
  apply();
})();
