/* Sets the page going once all layers are there; `groups` lie on each other in this order, the first below. */
{
  function placeControls(map, narrow) {
    const side = narrow ? "bottomright" : "topleft"; // where the thumb is
    [map.zoomControl, layoutplan.page.measure].forEach((control) => control.setPosition(side));
    layoutplan.layerControl.setPosition(narrow ? "bottomright" : "topright");
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
    layoutplan.page = { map, measure: new layoutplan.Measure().addTo(map) };
    placeControls(map, narrow.matches);
    narrow.addEventListener("change", () => placeControls(map, narrow.matches));
    panel.open = !narrow.matches;
    panel.addEventListener("toggle", () => {
      document.body.classList.toggle("unfolded", panel.open);
      map.invalidateSize();
    });
    panel.querySelectorAll("canvas").forEach(layoutplan.swatch);

    const chooser = new layoutplan.Chooser(map, groups);
    layoutplan.search.start(chooser);
    Object.assign(layoutplan.page, { chooser, locator: new layoutplan.Locator(map, chooser) });

    const note = document.getElementById("too-much"), restack = () => layoutplan.restack(map, groups);
    map.on("moveend", () => layoutplan.look(map, note) && restack());
    map.on("overlayadd", () => { layoutplan.look(map, note); restack(); });
    map.on("popupclose", () => layoutplan.reading(false));
    map.invalidateSize();
    map.fitBounds(bounds, { padding: [30, 30], maxZoom: 17 });
    layoutplan.look(map, note);
    restack();

    const sun = document.getElementById("sun");
    const paint = (on) => { sun.setAttribute("aria-pressed", on); layoutplan.paintSun(on); };
    sun.addEventListener("click", () => paint(!layoutplan.sun));
    if (matchMedia("(prefers-contrast: more)").matches) paint(true);
    layoutplan.paper.start(map, panel, layoutplan.page.locator);
    return layoutplan.page;
  }

  layoutplan.start = start;
}
