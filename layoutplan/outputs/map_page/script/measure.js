/* Distance and bearing between points on the map. */
{
  const { ground } = layoutplan;

  const Measure = L.Control.extend({
    options: { position: "topleft" },
    onAdd(map) {
      if (this.box) return this.box; // moved to another corner
      const box = this.box = L.DomUtil.create("div", "leaflet-bar measure");
      box.innerHTML = `<button type="button" aria-pressed="false" title="Measure distance and bearing" aria-label="Measure distance and bearing">
        <svg width="18" height="18" viewBox="0 0 18 18" fill="none" stroke="currentColor" stroke-width="1.5"><path d="M1 12 12 1l5 5L6 17zM4 9l2 2M7 6l3 3M10 3l2 2"/></svg></button><output></output>`;
      L.DomEvent.disableClickPropagation(box);
      [this.button, this.output] = box.children;
      this.map = map; this.drawn = L.layerGroup();
      L.DomEvent.on(this.button, "click", () => this.toggle());
      map.on("preclick", (event) => this.on && this.add(event.latlng));
      L.DomEvent.on(document, "keydown", (event) => event.key === "Escape" && this.on && this.toggle());
      return box;
    },
    toggle() {
      this.on = !this.on;
      this.button.setAttribute("aria-pressed", this.on);
      this.map.getContainer().classList.toggle("measuring", this.on);
      this.points = [];
      this.drawn.clearLayers()[this.on ? "addTo" : "removeFrom"](this.map);
      this.output.textContent = this.on ? "Press points on the map to measure; press the button again to stop." : "";
      this.map.closePopup();
    },
    add(point) {
      this.points.push(point);
      L.circleMarker(point, { radius: 3, color: "#111", fillColor: "#fff", fillOpacity: 1, interactive: false }).addTo(this.drawn);
      if (this.points.length < 2) { this.output.textContent = `${point.lat.toFixed(6)}, ${L.Util.wrapNum(point.lng, [-180, 180]).toFixed(6)}`; return; }
      const legs = this.points.slice(1).map((to, leg) => ground(this.points[leg], to)), last = legs[legs.length - 1];
      L.polyline(this.points.slice(-2), { color: "#111", weight: 2, dashArray: "2 4", interactive: false }).addTo(this.drawn);
      const total = legs.reduce((sum, leg) => sum + leg.metres, 0);
      const bearing = last.bearing.toFixed(1) === "360.0" ? "0.0" : last.bearing.toFixed(1);
      this.output.textContent = `${last.metres.toFixed(1)} m at ${bearing.padStart(5, "0")}° true` + (legs.length > 1 ? `, ${total.toFixed(1)} m in all` : "");
    },
  });

  layoutplan.Measure = Measure;
}
