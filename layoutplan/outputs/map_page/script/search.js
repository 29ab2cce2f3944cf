/* Finding a tower by part of its id; with several lines, by part of the line's name too. */
{
  const MOST_LISTED = 40;
  const folded = (text) => text.normalize("NFKC").toLocaleLowerCase("en");

  /* Whole id before beginning before anywhere; among equals, the order of the plan. */
  function matches(towers, typed) {
    const words = folded(typed).split(/\s+/).filter(Boolean);
    if (!words.length) return [];
    const whole = words.join(" ");
    const found = [];
    towers.forEach(({ key, id }, place) => {
      if (!words.every((word) => key.includes(word))) return;
      const own = folded(id);
      found.push({ place, rank: own === whole ? 0 : own.startsWith(words[0]) ? 1 : words.some((word) => own.includes(word)) ? 2 : 3 });
    });
    return found.sort((a, b) => a.rank - b.rank || a.place - b.place).map(({ place }) => place);
  }

  function start(chooser) {
    const input = document.getElementById("find"), list = document.getElementById("found");
    const several = chooser.severalLines; // the name of the only line would find every tower
    const towers = chooser.towers.map(({ id, line }) => ({ id, key: several ? `${folded(id)} ${folded(line)}` : folded(id) }));
    let found = [], active = 0;

    function entry(place, row) {
      const { id, line, status, shown } = chooser.towers[place];
      const button = document.createElement("button"), swatch = document.createElement("canvas"), text = document.createElement("span");
      Object.assign(button, { type: "button", id: `found-${row}` });
      button.setAttribute("role", "option");
      button.setAttribute("aria-selected", row === active);
      swatch.dataset.sign = status;
      text.textContent = [id, chooser.severalLines && line, status, !shown && "filtered out"].filter(Boolean).join(" · ");
      button.append(swatch, text);
      layoutplan.swatch(swatch);
      button.addEventListener("click", () => take(place));
      return button;
    }

    function fill() {
      const rows = found.slice(0, MOST_LISTED).map(entry);
      const more = document.createElement("p");
      if (!found.length) more.textContent = "No tower id contains this.";
      if (found.length > MOST_LISTED) more.textContent = `${found.length - MOST_LISTED} more; type more of the id.`;
      list.replaceChildren(...rows, ...(more.textContent ? [more] : []));
      list.hidden = !input.value.trim();
      input.setAttribute("aria-expanded", !list.hidden);
      input.setAttribute("aria-activedescendant", rows.length ? `found-${active}` : "");
      if (rows[active]) rows[active].scrollIntoView({ block: "nearest" });
    }

    function close() {
      input.value = "";
      found = [];
      fill();
    }

    function take(place) {
      close();
      input.blur();
      if (!chooser.towers[place].shown) chooser.tickAll(true);
      chooser.go(place);
    }

    document.addEventListener("pointerdown", (event) => event.target.closest("#bar") || close());
    input.addEventListener("input", () => { found = matches(towers, input.value); active = 0; fill(); });
    input.addEventListener("keydown", (event) => {
      const last = Math.min(found.length, MOST_LISTED) - 1;
      if (event.key === "Enter" && found.length) take(found[active]);
      else if (event.key === "Escape") close();
      else if (event.key === "ArrowDown") active = Math.min(active + 1, last);
      else if (event.key === "ArrowUp") active = Math.max(active - 1, 0);
      else return;
      event.preventDefault();
      if (event.key.startsWith("Arrow")) fill();
    });
  }

  layoutplan.search = { start, matches };
}
