/* On paper: the map at the paper's width and twice the screen's resolution, the legend below it, no controls. */
{
  function start(map, panel, { dot, edge }) {
    let before = null;

    function resize(bounds) {
      map.invalidateSize({ animate: false, pan: false });
      map.fitBounds(bounds, { animate: false });
      map.setView(map.getCenter(), map.getZoom(), { reset: true });
    }

    addEventListener("beforeprint", () => {
      if (before) return;
      before = { center: map.getCenter(), zoom: map.getZoom(), open: panel.open, here: map.hasLayer(dot), retina: L.Browser.retina, dark: layoutplan.dark };
      const bounds = map.getBounds();
      document.getElementById("paper-date").textContent = `, printed ${layoutplan.records.clock(new Date())}`;
      map.closePopup();
      [dot, edge].forEach((mark) => mark.remove()); // where somebody stood while printing says nothing on paper
      panel.open = true;
      document.body.classList.add("paper");
      layoutplan.paint(layoutplan.sun, false); // paper is white
      L.Browser.retina = true; // Leaflet asks this when it sizes its canvas
      resize(bounds);
    });
    addEventListener("afterprint", () => {
      if (!before) return;
      document.body.classList.remove("paper");
      panel.open = before.open;
      L.Browser.retina = before.retina;
      layoutplan.paint(layoutplan.sun, before.dark);
      map.invalidateSize({ animate: false, pan: false });
      map.setView(before.center, before.zoom, { reset: true });
      if (before.here) [edge, dot].forEach((mark) => mark.addTo(map));
      before = null;
    });
  }

  layoutplan.paper = { start };
}
