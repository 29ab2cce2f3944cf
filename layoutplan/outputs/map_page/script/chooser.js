/* One tower after the other: which towers are shown, which one is looked at, and the card that tells of it. */
{
  const { plain, value, WAY_OUT } = layoutplan;
  const byId = (id) => document.getElementById(id);

  /* Everything the page knows of a tower, in the order of the plan. */
  function gather(groups) {
    const all = layoutplan.towers.map((layer) => ({
      layer,
      id: plain(layer.feature.properties.title).replace(/^Tower /, ""),
      line: value(layer, "Line"),
      status: plain(layer.feature.properties.sign),
      shown: true, parts: [], stakes: {}, leads: {},
    }));
    for (const group of groups)
      group.eachLayer((layer) => {
        const { tower, role, sign } = layer.feature.properties;
        if (tower === undefined) return;
        const { id, line, parts, stakes, leads } = all[tower];
        parts.push([group, layer]);
        if (role && sign) stakes[role] = { layer, role, line, tower: id, name: value(layer, "Waypoint") };
        else if (role) leads[role] = layer;
      });
    return all;
  }

  class Chooser {
    constructor(map, groups, tick) {
      Object.assign(this, { map, groups, tick, towers: gather(groups), chosen: null, listeners: [] });
      this.severalLines = new Set(this.towers.map(({ line }) => line)).size > 1;
      this.ring = L.circleMarker([0, 0], { radius: layoutplan.RING, weight: 4, color: "#000", fill: false, interactive: false, dashArray: "9 5" });
      layoutplan.above.push(this.ring);
      byId("previous").addEventListener("click", () => this.step(-1));
      byId("next").addEventListener("click", () => this.step(1));
      byId("details").addEventListener("click", () => layoutplan.show(this.towers[this.chosen].layer));
      byId("close-card").addEventListener("click", () => this.choose(null));
      for (const role of ["H", "S"]) byId(`tick-${role}`).addEventListener("click", () => tick.open(this.towers[this.chosen].stakes[role]));
      layoutplan.records.listeners.push(() => { this.labelStakes(); this.tellTicks(); });
      byId("show-all").addEventListener("click", () => this.tickAll(true));
      this.boxes = [...document.querySelectorAll("input[data-status]")];
      this.boxes.forEach((box) => { box.checked = true; box.addEventListener("change", () => this.filter()); });
      this.labelStakes();
      this.tell();
    }

    /* The next tower that is shown, from the chosen one on; null at the end. */
    beside(way) {
      const last = this.towers.length - 1;
      let place = this.chosen === null ? (way > 0 ? -1 : last + 1) : this.chosen;
      do place += way; while (this.towers[place] && !this.towers[place].shown);
      return this.towers[place] ? place : null;
    }

    step(way) {
      const place = this.beside(way);
      if (place !== null) this.go(place);
    }

    /* Chooses a tower and moves the map so that it and its stakes can be seen. */
    go(place) {
      this.map.closePopup();
      this.choose(place);
      this.map.fitBounds(L.latLngBounds(this.places(place)), { ...layoutplan.page.room(45), maxZoom: 17.5, animate: false });
    }

    places(place) {
      const { layer, stakes } = this.towers[place];
      return [layer, ...Object.values(stakes).map((stake) => stake.layer)].map((one) => one.getLatLng());
    }

    choose(place) {
      if (this.chosen !== null) this.mark(this.chosen, false);
      this.chosen = place;
      if (place !== null) this.mark(place, true);
      if (place === null) this.ring.remove();
      else this.ring.setLatLng(this.towers[place].layer.getLatLng()).addTo(this.map);
      this.tell();
    }

    /* The number of the chosen tower stands beside the ring, not under it. */
    mark(place, chosen) {
      const { layer } = this.towers[place];
      layer.options.chosen = chosen;
      if (this.map.hasLayer(layer)) layer.redraw();
    }

    tickAll(on) {
      this.boxes.forEach((box) => { box.checked = on; });
      this.filter();
    }

    filter() {
      const ticked = new Set(this.boxes.filter((box) => box.checked).map((box) => box.dataset.status));
      for (const tower of this.towers) {
        if (ticked.has(tower.status) === tower.shown) continue;
        tower.shown = !tower.shown;
        tower.parts.forEach(([group, layer]) => group[tower.shown ? "addLayer" : "removeLayer"](layer));
      }
      layoutplan.restack(this.map, this.groups);
      this.map.closePopup();
      if (this.chosen !== null && !this.towers[this.chosen].shown) this.choose(null);
      else this.tell();
    }

    tell() {
      const shown = this.towers.filter((tower) => tower.shown).length;
      byId("filtered").hidden = shown === this.towers.length;
      byId("filtered-count").textContent = `Only ${shown} of ${this.towers.length} towers shown`;
      byId("previous").disabled = this.beside(-1) === null;
      byId("next").disabled = this.beside(1) === null;
      byId("card").hidden = this.chosen === null;
      if (this.chosen !== null) this.fillCard(this.towers[this.chosen]);
      this.listeners.forEach((listener) => listener());
      this.map.invalidateSize({ pan: false }); // the card takes room from the map
    }

    fillCard({ layer, line, status, id }) {
      byId("card-sign").dataset.sign = status;
      layoutplan.swatch(byId("card-sign"));
      byId("card-name").textContent = `Tower ${id}`;
      byId("card-place").textContent = `${this.severalLines ? `${line}, ` : ""}${this.chosen + 1} of ${this.towers.length}`;
      const out = value(layer, WAY_OUT);
      byId("card-out").textContent = out && `${status}. ${WAY_OUT}: ${out}`;
      byId("card-status").textContent = [!out && status, value(layer, "Reasons")].filter(Boolean).join(": ");
      for (const role of ["H", "S"]) byId(`plan-${role}`).textContent = value(layer, `${role} stake`) || "no stake planned";
      this.tellTicks();
    }

    tellTicks() {
      if (this.chosen === null) return;
      const { stakes } = this.towers[this.chosen];
      byId("ticks").hidden = !Object.keys(stakes).length;
      for (const role of ["H", "S"]) {
        byId(`tick-${role}`).hidden = !stakes[role];
        const told = stakes[role] && layoutplan.summary(stakes[role].name);
        byId(`tick-${role}`).textContent = told ? `${role}: ${told}` : `Tick off ${role}`;
      }
    }

    /* What is ticked off stands beside the stake's sign. */
    labelStakes() {
      for (const { stakes } of this.towers)
        for (const { layer, name } of Object.values(stakes)) {
          const { state } = layoutplan.records.of(name);
          if (layer.options.label === state) continue;
          layer.options.label = state;
          if (this.map.hasLayer(layer)) layer.redraw();
        }
    }
  }

  layoutplan.Chooser = Chooser;
}
