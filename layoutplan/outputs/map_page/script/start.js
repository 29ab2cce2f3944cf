/* Sets the page going once all layers are there; `groups` lie on each other in this order, the first below. */
{
  function placeControls(map, narrow) {
    const side = narrow ? "bottomright" : "topleft"; // where the thumb is
    [map.zoomControl, layoutplan.page.measure].forEach((control) => control.setPosition(side));
    layoutplan.layerControl.setPosition(narrow ? "bottomright" : "topright");
  }

  /* Signs of our own on the library's buttons, drawn in the colour of their words. */
  const drawn = (path) => `<svg width="20" height="20" viewBox="0 0 20 20" fill="none" stroke="currentColor" stroke-width="2.4" aria-hidden="true"><path d="${path}"/></svg>`;
  const SIGNS = { nearer: "M10 3v14M3 10h14", farther: "M3 10h14", layers: "M2.5 2.5h10v10h-10zM16 7.5v9H7" };

  function signControls(map) {
    const { _zoomInButton: nearer, _zoomOutButton: farther } = map.zoomControl, layers = layoutplan.layerControl._layersLink;
    for (const [button, sign, words] of [[nearer, SIGNS.nearer, "Nearer"], [farther, SIGNS.farther, "Farther"], [layers, SIGNS.layers, "Layers of the map"]]) {
      button.innerHTML = drawn(sign);
      button.title = words;
      button.setAttribute("aria-label", words);
    }
  }

  /* On a telephone the list of layers takes the card's place while it is open. */
  const { expand, collapse } = L.Control.Layers.prototype;
  const listing = (control, on) => {
    document.body.classList.toggle("listing", on);
    control._map.invalidateSize({ pan: false });
  };
  L.Control.Layers.include({
    expand() { listing(this, true); return expand.call(this); },
    collapse() { listing(this, false); return collapse.call(this); },
  });
  L.Control.Layers.addInitHook(function keepAtHand() { layoutplan.layerControl = this; });

  function start(map, groups, bounds, credits) {
    map.attributionControl.setPrefix(false);
    credits.forEach((credit) => map.attributionControl.addAttribution(credit));
    L.control.scale({ imperial: false }).addTo(map);
    map.options.middle = (bounds[0][1] + bounds[1][1]) / 2;

    const panel = document.getElementById("panel"), narrow = matchMedia("(max-width: 700px), (max-height: 500px)");
    const room = (px) => ({ paddingTopLeft: [px, px], paddingBottomRight: [px, px + (narrow.matches ? 40 : 0)] }); // above the buttons of the map
    layoutplan.page = { map, room, measure: new layoutplan.Measure().addTo(map) };
    placeControls(map, narrow.matches);
    signControls(map);
    narrow.addEventListener("change", () => placeControls(map, narrow.matches));
    panel.open = !narrow.matches;
    panel.addEventListener("toggle", () => {
      document.body.classList.toggle("unfolded", panel.open);
      map.invalidateSize();
    });
    panel.querySelectorAll("canvas").forEach(layoutplan.swatch);

    const tick = new layoutplan.Tick(), chooser = new layoutplan.Chooser(map, groups, tick);
    layoutplan.search.start(chooser);
    Object.assign(layoutplan.page, { chooser, locator: new layoutplan.Locator(map, chooser), list: new layoutplan.List(map, chooser, tick) });

    const note = document.getElementById("too-much"), restack = () => layoutplan.restack(map, groups);
    map.on("moveend", () => layoutplan.look(map, note) && restack());
    map.on("overlayadd", () => { layoutplan.look(map, note); restack(); });
    map.on("popupclose", ({ popup }) => layoutplan.closed(popup));
    map.invalidateSize();
    map.fitBounds(bounds, { padding: [30, 30], maxZoom: 17 });
    layoutplan.look(map, note);
    restack();

    const sun = document.getElementById("sun"), dark = matchMedia("(prefers-color-scheme: dark)");
    const paint = (on) => { sun.setAttribute("aria-pressed", on); layoutplan.paint(on, dark.matches); };
    dark.addEventListener("change", () => paint(layoutplan.sun));
    sun.addEventListener("click", () => paint(!layoutplan.sun));
    const contrast = matchMedia("(prefers-contrast: more)").matches;
    if (contrast || dark.matches) paint(contrast);
    layoutplan.paper.start(map, panel, layoutplan.page.locator);
    return layoutplan.page;
  }

  layoutplan.start = start;
}
