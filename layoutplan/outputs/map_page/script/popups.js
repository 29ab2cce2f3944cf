/* What is told of a thing when it is clicked. */
{
  const { plain } = layoutplan;
  const REACH_PX = 12; // a thumb hits no thin line
  const STOP = "!"; // label of what must be read before all else (see popups.py)
  const WAY_OUT = "Would give a layout"; // label of what would, of a tower without one

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
    if (properties.role || /^walk/.test(properties.style)) layer._clickTolerance = () => Math.max(REACH_PX, layer.options.weight / 2 + 4);
    if (properties.label !== undefined) layoutplan.towers[properties.tower] = layer; // only towers have labels
  }

  const values = (layer) => {
    const { texts, shared } = layer.feature.properties;
    return [...(layer.words.shared[shared] || []), ...texts];
  };

  let opener = null;

  /* The letters of one row of a thing's pop-up. */
  const value = (layer, label) => plain(values(layer)[layer.words.labels.indexOf(label)] || "");

  function show(layer, latlng) {
    const { map } = layoutplan.page, texts = values(layer);
    const stop = texts[layer.words.labels.indexOf(STOP)], banner = stop ? `<p class="stop">${stop}</p>` : "";
    const rows = layer.words.labels.map((label, row) => (texts[row] && label !== STOP ? `<tr><th>${label}</th><td>${texts[row]}</td></tr>` : ""));
    const popup = L.popup({ maxWidth: Math.min(340, window.innerWidth - 60), autoPanPadding: [10, 10] })
      .setLatLng(layer.getLatLng ? layer.getLatLng() : latlng)
      .setContent(`<h3>${layer.feature.properties.title}</h3>${banner}<table>${rows.join("")}</table>`);
    const focused = document.activeElement;
    map.closePopup();
    opener = focused && focused !== document.body && !focused.closest(".leaflet-popup") ? focused : map.getContainer();
    reading(true); // on a telephone the card makes room, so the map has its size before the pop-up looks for its place
    popup.options.maxHeight = Math.min(map.getSize().y - 80, 460);
    popup.openOn(map);
    const box = popup.getElement(), read = box.querySelector(".leaflet-popup-content");
    box.setAttribute("role", "dialog");
    box.setAttribute("aria-label", plain(layer.feature.properties.title));
    read.tabIndex = 0; // its text may have to be scrolled by keys
    read.focus({ preventScroll: true });
  }

  /* The focus goes back to where it came from, unless somebody has put it elsewhere meanwhile. */
  function closed(popup) {
    reading(false);
    const box = popup.getElement();
    if (opener?.isConnected && (document.activeElement === document.body || box?.contains(document.activeElement))) opener.focus({ preventScroll: true });
    opener = null;
  }

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || event.defaultPrevented || document.querySelector("dialog[open]")) return;
    const { map, list } = layoutplan.page;
    if (document.querySelector(".leaflet-popup")) map.closePopup();
    else if (document.body.classList.contains("listing")) layoutplan.layerControl.collapse()._layersLink.focus();
    else if (!list.box.hidden && list.box.contains(document.activeElement)) list.close();
  });

  function reading(on) {
    document.body.classList.toggle("reading", on);
    layoutplan.page.map.invalidateSize({ pan: false });
  }

  Object.assign(layoutplan, { describe, show, reading, closed, value, WAY_OUT });
}
