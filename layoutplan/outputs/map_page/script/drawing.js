/* How things are painted: signs, cased lines, hatches; paler ground and stronger marks for reading in the sun. */
{
  const { signs, styles, sun_styles: sunStyles, dark_styles: darkStyles, plain } = layoutplan;
  const DOTS_BELOW_ZOOM = 12.5, STAKES_FROM_ZOOM = 13, LABELS_FROM_ZOOM = 14.5, SUN_SIGNS = 1.3, RING = 20;

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
  for (const style of [styles, sunStyles, darkStyles].flatMap(Object.values))
    if (style.hatch) style.fillColor = hatch(style.hatch, style.color, style.fillColor === "#ffffff" ? "" : style.fillColor);

  function paint(ctx, sign, x, y, radius, label, aside = radius + 5) {
    ctx.save();
    ctx.translate(x, y);
    ctx.lineJoin = "round";
    ctx.setLineDash([]);
    ctx.beginPath();
    for (const [px, py] of sign.points) ctx.lineTo(px * radius, py * radius);
    ctx.closePath();
    if (radius > 4) { ctx.strokeStyle = "#ffffff"; ctx.lineWidth = 4; ctx.stroke(); }
    ctx.fillStyle = sign.fill; ctx.fill();
    ctx.strokeStyle = "#111111"; ctx.lineWidth = radius > 4 ? (layoutplan.sun ? 2.2 : 1.3) : 0.7; ctx.stroke();
    if (sign.letter && radius > 5) {
      ctx.font = `700 ${1.35 * radius}px system-ui, sans-serif`;
      ctx.textAlign = "center"; ctx.textBaseline = "middle"; ctx.fillStyle = sign.ink;
      ctx.fillText(sign.letter, 0, (0.07 - sign.lift) * radius);
    }
    if (label) {
      ctx.font = `${layoutplan.sun ? "800 16px" : "600 12px"} system-ui, sans-serif`;
      ctx.textAlign = "left"; ctx.textBaseline = "middle";
      ctx.strokeStyle = layoutplan.sun ? "#ffffff" : layoutplan.dark ? "rgb(0 0 0 / 90%)" : "rgb(255 255 255 / 90%)"; ctx.lineWidth = layoutplan.sun ? 5 : 3.5;
      ctx.strokeText(label, aside, -radius);
      ctx.fillStyle = layoutplan.dark ? "#ffffff" : "#000000"; ctx.fillText(label, aside, -radius);
    }
    ctx.restore();
  }

  function look(options) {
    const strong = layoutplan.sun ? sunStyles[options.name] : layoutplan.dark && darkStyles[options.name];
    if (!strong) return options;
    if (layoutplan.dark) return { ...options, ...strong };
    return { ...options, ...strong, weight: options.area ? Math.min(strong.weight, 2.5) : strong.weight };
  }

  /* A line with a casing is stroked twice along the same path. */
  const drawLine = L.Canvas.prototype._fillStroke;
  L.Canvas.include({
    _fillStroke(ctx, layer) {
      const { casing, casingColor, halo, ...options } = look(L.extend({}, layer.options)); // with the defaults it inherits
      const below = (weight, color) => drawLine.call(this, ctx, { options: { ...options, weight, color, _dashArray: null } });
      if (halo) below(casing + 3, halo);
      if (casing) below(casing, casingColor);
      drawLine.call(this, ctx, { options });
    },
  });

  const Sign = L.CircleMarker.extend({
    _project() {
      const { sign, label, chosen } = this.options, zoom = this._map.getZoom();
      this._radius = sign.radius * Math.min((zoom - 8) / 7, 1) * (layoutplan.sun ? SUN_SIGNS : 1);
      if (zoom < DOTS_BELOW_ZOOM) this._radius = layoutplan.sun ? 4 : 3.5;
      if (sign.close && zoom < STAKES_FROM_ZOOM) this._radius = 0;
      this._shown = zoom >= LABELS_FROM_ZOOM ? label : "";
      this._aside = chosen ? RING + 6 : this._radius + 5;
      L.CircleMarker.prototype._project.call(this);
      const room = this._radius + 6; // corners and halo reach beyond the circle; so does the label
      this._pxBounds.extend(this._point.subtract([room, room + 10])).extend(this._point.add([this._aside + 1 + 11 * this._shown.length, room]));
    },
    _updatePath() {
      if (!this._renderer._drawing || !this._radius || this._empty()) return;
      paint(this._renderer._ctx, this.options.sign, this._point.x, this._point.y, this._radius, this._shown, this._aside);
    },
  });

  function sign({ properties }, latlng) {
    const text = properties.label ? plain(properties.label) : "";
    const known = signs[plain(properties.sign || "")];
    return known ? new Sign(latlng, { sign: known, label: text.length > 16 ? text.slice(0, 15) + "…" : text })
                 : L.circleMarker(latlng, { radius: 4 });
  }
  const style = ({ properties }) => {
    const given = { ...styles[properties.style], name: properties.style, area: properties.dimension === 2 };
    return given.area ? { ...given, weight: Math.min(given.weight, 2) } : given; // rivers and roads as areas
  };

  function swatch(canvas) {
    const ctx = canvas.getContext("2d"), { sign: name, line, area } = canvas.dataset, sharp = 2;
    canvas.width = 36 * sharp; canvas.height = 20 * sharp;
    ctx.scale(sharp, sharp);
    if (name) return paint(ctx, signs[name], 18, 10, signs[name].radius * 0.88);
    const drawn = look({ ...styles[line || area], name: line || area, area: !!area });
    if (drawn.halo) { ctx.lineWidth = drawn.casing + 3; ctx.strokeStyle = drawn.halo; ctx.strokeRect(1, 10, 34, 0); }
    if (drawn.casing) { ctx.lineWidth = drawn.casing; ctx.strokeStyle = drawn.casingColor; ctx.strokeRect(1, 10, 34, 0); }
    ctx.strokeStyle = drawn.color; ctx.lineWidth = drawn.weight; ctx.lineCap = drawn.lineCap || "round";
    ctx.setLineDash(drawn.dashArray ? drawn.dashArray.split(" ").map(Number) : []);
    ctx.beginPath();
    if (area) { ctx.rect(3, 3, 30, 14); ctx.globalAlpha = drawn.fillOpacity; ctx.fillStyle = drawn.fillColor; ctx.fill(); ctx.globalAlpha = 1; }
    else { ctx.moveTo(1, 10); ctx.lineTo(35, 10); }
    ctx.stroke();
  }

  /* In the sun nothing is dark, whatever the device is set to. */
  function paintAll(sun, dark) {
    Object.assign(layoutplan, { sun, dark: dark && !sun });
    document.body.classList.toggle("sun", sun);
    document.body.classList.toggle("dark", layoutplan.dark);
    layoutplan.page.chooser.ring.setStyle({ color: layoutplan.dark ? "#fff" : "#000" });
    document.querySelectorAll("canvas[data-sign], canvas[data-line], canvas[data-area]").forEach(swatch);
    const { map } = layoutplan.page;
    map.invalidateSize();
    map.setView(map.getCenter(), map.getZoom(), { reset: true }); // projects and paints everything again
  }

  Object.assign(layoutplan, { sign, style, swatch, paint: paintAll, sun: false, dark: false, RING });
}
