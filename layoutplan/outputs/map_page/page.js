"use strict";
/* Runs in the page, above Leaflet. Texts in features are inert HTML already (see layers.py). */
const layoutplan = (() => {
  const { signs, styles } = SETTINGS;
  const DOTS_BELOW_ZOOM = 12.5, STAKES_FROM_ZOOM = 13, LABELS_FROM_ZOOM = 14.5, RAD = Math.PI / 180;
  const towers = new Map();

  const plain = (html) => new DOMParser().parseFromString(html, "text/html").documentElement.textContent;

  /* Ground distance and true bearing on WGS 84: Gauss's mid-latitude formula, millimetres at 10 km. */
  function ground(from, to) {
    const a = 6378137, e2 = 0.0066943799901413165;
    const mid = (from.lat + to.lat) / 2 * RAD, dlon = (to.lng - from.lng) * RAD, dlat = (to.lat - from.lat) * RAD;
    const w2 = 1 - e2 * Math.sin(mid) ** 2, n = a / Math.sqrt(w2), m = a * (1 - e2) / w2 ** 1.5;
    const east = n * Math.cos(mid) * dlon, north = m * dlat * Math.cos(dlon / 2);
    const bearing = Math.atan2(east, north) / RAD - dlon * Math.sin(mid) / 2 / RAD;
    return { metres: Math.hypot(east, north), bearing: (bearing + 360) % 360 };
  }
  L.CRS.EPSG3857.distance = (from, to) => ground(from, to).metres; // Leaflet's own is a sphere's; the scale bar asks it

  /* Columns of features back to GeoJSON; see packing.py. */
  function unpack(columns) {
    const line = (steps) => {
      const points = [];
      let x = 0, y = 0;
      for (let k = 0; k < steps.length; k += 2) points.push([(x += steps[k]) / 1e6, (y += steps[k + 1]) / 1e6]);
      return points;
    };
    const types = ["MultiPoint", "MultiLineString", "Polygon"];
    return columns.shape.map((pieces, row) => {
      const lines = pieces.map(line), dimension = columns.dimension[row];
      const single = dimension < 2 && lines.length === 1;
      const coordinates = single ? (dimension ? lines[0] : lines[0][0]) : dimension ? lines : lines.map(([point]) => point);
      const properties = Object.fromEntries(Object.entries(columns).map(([key, values]) => [key, values[row]]));
      return { type: "Feature", properties, geometry: { type: types[dimension].slice(single ? 5 : 0), coordinates } };
    });
  }

  /* ---- drawing ---- */
  function hatch(kind, color, paper) {
    const tile = document.createElement("canvas"), ctx = tile.getContext("2d"), size = 9;
    tile.width = tile.height = size;
    ctx.fillStyle = paper;
    if (paper) ctx.fillRect(0, 0, size, size);
    ctx.strokeStyle = ctx.fillStyle = color;
    ctx.globalAlpha = 0.75;
    ctx.beginPath();
    if (kind === "diagonal" || kind === "cross")
      for (const x of [-size, 0, size]) { ctx.moveTo(x, size); ctx.lineTo(x + size, 0); }
    if (kind === "cross") for (const x of [-size, 0, size]) { ctx.moveTo(x, 0); ctx.lineTo(x + size, size); }
    if (kind === "horizontal") { ctx.moveTo(0, 2.5); ctx.lineTo(6, 2.5); ctx.moveTo(4, 6.5); ctx.lineTo(9, 6.5); }
    if (kind === "dots") { ctx.rect(2, 2, 1.6, 1.6); ctx.rect(6.5, 6.5, 1.6, 1.6); ctx.fill(); } else ctx.stroke();
    return ctx.createPattern(tile, "repeat");
  }
  for (const style of Object.values(styles))
    if (style.hatch) style.fillColor = hatch(style.hatch, style.color, style.fillColor === "#ffffff" ? "" : style.fillColor);

  function paint(ctx, sign, x, y, radius, label) {
    ctx.save();
    ctx.translate(x, y);
    ctx.lineJoin = "round";
    ctx.setLineDash([]);
    ctx.beginPath();
    for (const [px, py] of sign.points) ctx.lineTo(px * radius, py * radius);
    ctx.closePath();
    if (radius > 4) { ctx.strokeStyle = "#ffffff"; ctx.lineWidth = 4; ctx.stroke(); }
    ctx.fillStyle = sign.fill; ctx.fill();
    ctx.strokeStyle = "#111111"; ctx.lineWidth = radius > 4 ? 1.3 : 0.7; ctx.stroke();
    if (sign.letter && radius > 5) {
      ctx.font = `700 ${1.35 * radius}px system-ui, sans-serif`;
      ctx.textAlign = "center"; ctx.textBaseline = "middle"; ctx.fillStyle = sign.ink;
      ctx.fillText(sign.letter, 0, (0.07 - sign.lift) * radius);
    }
    if (label) {
      ctx.font = "600 12px system-ui, sans-serif";
      ctx.textAlign = "left"; ctx.textBaseline = "middle";
      ctx.strokeStyle = "rgb(255 255 255 / 90%)"; ctx.lineWidth = 3.5; ctx.strokeText(label, radius + 5, -radius);
      ctx.fillStyle = "#111111"; ctx.fillText(label, radius + 5, -radius);
    }
    ctx.restore();
  }

  /* A line with a casing is stroked twice along the same path. */
  const drawLine = L.Canvas.prototype._fillStroke;
  L.Canvas.include({
    _fillStroke(ctx, layer) {
      const { casing, ...options } = layer.options;
      if (casing) drawLine.call(this, ctx, { options: { ...options, weight: casing, color: "#111111", _dashArray: null } });
      drawLine.call(this, ctx, layer);
    },
  });

  const Sign = L.CircleMarker.extend({
    _project() {
      const { sign, label } = this.options, zoom = this._map.getZoom();
      this._radius = sign.radius * Math.min((zoom - 8) / 7, 1);
      if (zoom < DOTS_BELOW_ZOOM) this._radius = 3.5;
      if (sign.close && zoom < STAKES_FROM_ZOOM) this._radius = 0;
      this._shown = zoom >= LABELS_FROM_ZOOM ? label : "";
      L.CircleMarker.prototype._project.call(this);
      const room = this._radius + 6; // corners and halo reach beyond the circle; so does the label
      this._pxBounds.extend(this._point.subtract([room, room + 8])).extend(this._point.add([room + 8 * this._shown.length, room]));
    },
    _updatePath() {
      if (!this._renderer._drawing || !this._radius || this._empty()) return;
      paint(this._renderer._ctx, this.options.sign, this._point.x, this._point.y, this._radius, this._shown);
    },
  });

  function sign({ properties }, latlng) {
    const text = properties.label ? plain(properties.label) : "";
    const known = signs[plain(properties.sign || "")];
    return known ? new Sign(latlng, { sign: known, label: text.length > 16 ? text.slice(0, 15) + "…" : text })
                 : L.circleMarker(latlng, { radius: 4 });
  }
  const style = ({ properties }) => {
    const look = styles[properties.style] || {};
    return properties.dimension === 2 ? { ...look, weight: Math.min(look.weight, 2) } : look; // rivers and roads as areas
  };

  function swatch(canvas) {
    const ctx = canvas.getContext("2d"), { sign: name, line, area } = canvas.dataset, sharp = 2;
    canvas.width = 36 * sharp; canvas.height = 20 * sharp;
    ctx.scale(sharp, sharp);
    if (name) return paint(ctx, signs[name], 18, 10, signs[name].radius * 0.88);
    const look = styles[line || area];
    if (look.casing) { ctx.lineWidth = look.casing; ctx.strokeStyle = "#111111"; ctx.strokeRect(1, 10, 34, 0); }
    ctx.strokeStyle = look.color; ctx.lineWidth = look.weight; ctx.lineCap = look.lineCap || "round";
    ctx.setLineDash(look.dashArray ? look.dashArray.split(" ").map(Number) : []);
    ctx.beginPath();
    if (area) { ctx.rect(3, 3, 30, 14); ctx.globalAlpha = look.fillOpacity; ctx.fillStyle = look.fillColor; ctx.fill(); ctx.globalAlpha = 1; }
    else { ctx.moveTo(1, 10); ctx.lineTo(35, 10); }
    ctx.stroke();
  }

  /* ---- popups ---- */
  const describe = (layerName, words) => (feature, layer) => {
    layer.words = words;
    layer.on("click", (event) => layoutplan.page.measure.on || show(layer, event.latlng));
    layer.once("mouseover", () => layer.bindTooltip(feature.properties.title, { sticky: true, direction: "top", offset: [0, -6] }).openTooltip());
    if (layerName === "Towers") addTower(plain(feature.properties.title).replace(/^Tower /, ""), layer);
  };

  function show(layer, latlng) {
    const { labels, shared } = layer.words, { title, texts, shared: number } = layer.feature.properties;
    const values = [...(shared[number] || []), ...texts];
    const rows = labels.map((label, row) => (values[row] ? `<tr><th>${label}</th><td>${values[row]}</td></tr>` : ""));
    L.popup({ maxWidth: Math.min(340, window.innerWidth - 60), autoPanPadding: [10, 10] })
      .setLatLng(layer.getLatLng ? layer.getLatLng() : latlng)
      .setContent(`<h3>${title}</h3><table>${rows.join("")}</table>`)
      .openOn(layoutplan.page.map);
  }

  function addTower(name, layer) {
    let unique = name;
    for (let twin = 2; towers.has(unique); twin++) unique = `${name} (${twin})`;
    towers.set(unique, layer);
  }

  /* ---- measuring ---- */
  const Measure = L.Control.extend({
    options: { position: "topleft" },
    onAdd(map) {
      const box = L.DomUtil.create("div", "leaflet-bar measure");
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
      this.output.textContent = this.on ? "Click points on the map; Esc ends." : "";
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

  /* ---- start ---- */
  function start(map, stack, bounds, credits) {
    map.attributionControl.setPrefix(false);
    credits.forEach((credit) => map.attributionControl.addAttribution(credit));
    L.control.scale({ imperial: false }).addTo(map);
    const measure = new Measure().addTo(map);
    const restack = () => stack.forEach((layer) => map.hasLayer(layer) && layer.bringToFront());
    map.on("overlayadd", restack);
    map.on("popupopen popupclose", ({ type }) => map.getContainer().classList.toggle("reading", type === "popupopen"));

    const panel = document.getElementById("panel"), find = document.getElementById("find");
    panel.open = window.innerWidth > 700;
    panel.addEventListener("toggle", () => map.invalidateSize());
    panel.querySelectorAll("canvas").forEach(swatch);
    document.getElementById("tower-names").append(...[...towers.keys()].sort((a, b) => a.localeCompare(b, "en", { numeric: true })).map((name) => new Option(name, name)));
    find.addEventListener("change", () => {
      const tower = towers.get(find.value);
      if (!tower) return;
      map.setView(tower.getLatLng(), Math.max(map.getZoom(), 16));
      show(tower);
    });
    map.invalidateSize();
    map.fitBounds(bounds, { padding: [30, 30], maxZoom: 17 });
    restack();
    return { map, measure };
  }

  return { unpack, describe, show, sign, style, start, ground, towers };
})();
