/* What is told of a thing when it is clicked. */
{
  const { plain } = layoutplan;
  const STOP = "!"; // label of what must be read before all else (see popups.py)

  function describe(feature, layer) {
    const { properties, words } = feature;
    Object.assign(feature, { layer });
    Object.assign(layer, { words });
    layer.on("click", (event) => {
      const { measure, chooser } = layoutplan.page;
      if (measure.on) return;
      if (properties.tower !== undefined) chooser.choose(properties.tower);
      show(layer, event.latlng);
    });
    layer.once("mouseover", () =>
      layer.bindTooltip(properties.title, { sticky: true, direction: "top", offset: [0, -6] }).openTooltip());
    if (properties.label !== undefined) layoutplan.towers[properties.tower] = layer; // only towers have labels
  }

  const values = (layer) => {
    const { texts, shared } = layer.feature.properties;
    return [...(layer.words.shared[shared] || []), ...texts];
  };

  /* The letters of one row of a thing's pop-up. */
  const value = (layer, label) => plain(values(layer)[layer.words.labels.indexOf(label)] || "");

  function show(layer, latlng) {
    const { map } = layoutplan.page, texts = values(layer);
    const stop = texts[layer.words.labels.indexOf(STOP)], banner = stop ? `<p class="stop">${stop}</p>` : "";
    const rows = layer.words.labels.map((label, row) => (texts[row] && label !== STOP ? `<tr><th>${label}</th><td>${texts[row]}</td></tr>` : ""));
    const popup = L.popup({ maxWidth: Math.min(340, window.innerWidth - 60), autoPanPadding: [10, 10] })
      .setLatLng(layer.getLatLng ? layer.getLatLng() : latlng)
      .setContent(`<h3>${layer.feature.properties.title}</h3>${banner}<table>${rows.join("")}</table>`);
    map.closePopup();
    reading(true); // on a telephone the card makes room, so the map has its size before the pop-up looks for its place
    popup.options.maxHeight = Math.min(map.getSize().y - 80, 460);
    popup.openOn(map);
  }

  function reading(on) {
    document.body.classList.toggle("reading", on);
    layoutplan.page.map.invalidateSize({ pan: false });
  }

  Object.assign(layoutplan, { describe, show, reading, value });
}
