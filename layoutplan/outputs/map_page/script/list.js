/* The list beside the map: every stake and lead in words, for whoever cannot or will not point at the map, and the way home
   of what was ticked off. */
{
  const { records, summary, value, levels, WAY_OUT } = layoutplan;
  const byId = (id) => document.getElementById(id);

  function element(tag, words, more = {}) {
    return Object.assign(document.createElement(tag), { textContent: words, ...more });
  }

  function button(words, className, act) {
    const made = element("button", words, { type: "button", className });
    made.addEventListener("click", act);
    return made;
  }

  class List {
    constructor(map, chooser, tick) {
      Object.assign(this, { map, chooser, tick, box: byId("list") });
      byId("open-list").addEventListener("click", () => (this.box.hidden ? this.open() : this.close()));
      byId("close-list").addEventListener("click", () => this.close());
      byId("save").addEventListener("click", () => this.save());
      byId("share").addEventListener("click", () => this.share());
      chooser.listeners.push(() => this.filter());
      records.listeners.push(() => this.tell());
    }

    get stakes() { return this.chooser.towers.flatMap(({ stakes }) => Object.values(stakes)); }

    open() {
      this.box.hidden = false;
      this.fill();
      this.fit(true);
      byId("list-title").focus();
    }

    close() {
      this.box.hidden = true;
      this.fit(false);
      byId("open-list").focus();
    }

    fit(open) {
      byId("open-list").setAttribute("aria-expanded", open);
      document.body.classList.toggle("with-list", open);
      this.map.invalidateSize({ pan: false });
    }

    /* Made when it is first looked at; then only what changes. */
    fill() {
      if (!this.rows) {
        this.rows = this.chooser.towers.map((tower, place) => this.tower(tower, place));
        byId("rows").replaceChildren(...this.rows);
        byId("share").hidden = !(navigator.canShare && navigator.canShare({ files: [records.file([])] }));
      }
      this.filter();
      this.tell();
    }

    tower(tower, place) {
      const part = element("section", "", { className: "tower" });
      const { id, line, status } = tower, several = this.chooser.severalLines;
      part.append(element("h3", `Tower ${id}${several ? `, ${line}` : ""}: ${status}`));
      for (const role of ["H", "S"]) {
        const stake = tower.stakes[role], lead = tower.leads[role];
        if (stake) part.append(this.stake(tower, place, stake, lead));
      }
      if (!Object.keys(tower.stakes).length) part.append(element("p", "No stake planned."));
      const out = value(tower.layer, WAY_OUT);
      if (out) part.append(element("p", `${WAY_OUT}: ${out}`));
      return part;
    }

    stake({ id }, place, stake, lead) {
      const row = element("div", "", { className: "stake" }), { layer, role, name } = stake;
      const words = [`${id} ${role}`, value(layer, "!"), value(layer, "Distance"), value(layer, "Bearing")].filter(Boolean).join(", ");
      row.append(button(words, "place", () => this.show(place, layer)));
      if (lead) {
        const level = levels[lead.feature.properties.style.replace("lead ", "")];
        row.append(button(`Lead to ${role}: ${level}`, "lead", () => this.show(place, lead)));
      }
      row.append(button("", "tick", () => this.tick.open(stake)));
      row.dataset.stake = name;
      return row;
    }

    show(place, layer) {
      this.chooser.go(place);
      layoutplan.show(layer, layer.getLatLng ? layer.getLatLng() : layer.getCenter());
    }

    filter() {
      if (this.rows) this.rows.forEach((row, place) => { row.hidden = !this.chooser.towers[place].shown; });
    }

    tell() {
      if (!this.rows || this.box.hidden) return;
      for (const row of byId("rows").querySelectorAll(".stake")) {
        const told = summary(row.dataset.stake);
        row.querySelector(".tick").textContent = told ? `Ticked off: ${told}` : "Tick off";
        row.querySelector(".tick").setAttribute("aria-label", `Tick off ${row.dataset.stake}: ${told || "not ticked"}`);
      }
      const all = this.stakes, states = all.map(({ name }) => records.of(name).state), ticked = all.filter(({ name }) => records.has(name));
      const counts = layoutplan.states.map((state) => [states.filter((one) => one === state).length, state]).filter(([count]) => count);
      const placed = ticked.filter(({ name }) => records.of(name).position).length;
      byId("ticked").textContent = `${ticked.length} of ${all.length} stakes ticked off${counts.length ? `: ${counts.map((pair) => pair.join(" ")).join(", ")}` : ""}; ${placed} with a position.`;
      byId("save").disabled = byId("share").disabled = !ticked.length;
      byId("kept").textContent = records.keptWords();
    }

    say(words) {
      byId("sent").hidden = !words;
      byId("sent").textContent = words;
    }

    save() {
      const file = records.file(this.stakes), link = element("a", "", { href: URL.createObjectURL(file), download: file.name });
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 60000);
      records.sent();
      this.say(`${file.name} was given to the browser to save; look for it among the downloads. Send it to the planner.`);
    }

    async share() {
      const file = records.file(this.stakes);
      try {
        await navigator.share({ files: [file], title: file.name });
        records.sent();
        this.say(`${file.name} was shared.`);
      } catch (error) {
        this.say(error.name === "AbortError" ? "Not shared." : "The device did not share the file: save it instead.");
      }
    }
  }

  layoutplan.List = List;
}
