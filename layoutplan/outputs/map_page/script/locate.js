/* Where am I: the browser's position, how far it may be off, and the way from there to the chosen tower and its stakes. */
{
  const { ground, projected, octant } = layoutplan;
  const OPTIONS = { enableHighAccuracy: true, maximumAge: 0, timeout: 30000 };
  const SILENT_MS = 15000, OLD_MS = 30000, FINE_M = 5, CLOSE_ZOOM = 17;
  const SURE = 6; // accuracies away, the direction is off by less than ten degrees
  const OTHER_WAY = "Without it, find the place with a receiver and waypoints.gpx, or by the tower's number and the map.";
  const byId = (id) => document.getElementById(id);

  function refusal() {
    const file = location.protocol === "file:"
      ? " Some browsers never give a position to a page opened from a file: then try another browser." : "";
    return `The browser refuses to give your position. Allow location for this page and for the browser itself in the settings, then press the button again.${file} ${OTHER_WAY}`;
  }

  const FAILURES = {
    1: refusal,
    2: () => `Your position cannot be found. Is location switched on? Go where the sky is open. ${OTHER_WAY}`,
    3: () => "No position yet. Go where the sky is open and wait; the page goes on trying.",
  };

  /* Whole metres, tenths where the position is as good as that; kilometres to 10 m. */
  function distanceText(metres, accuracy) {
    if (metres >= 10000) return `${(metres / 1000).toFixed(2)} km`;
    return `${metres.toFixed(accuracy <= FINE_M && metres < 1000 ? 1 : 0)} m`;
  }

  /* The way to a place; degrees only where the position is good enough for them, no direction where it tells none. */
  function wayText(from, accuracy, to) {
    const { metres, bearing } = ground(from, to);
    const distance = distanceText(metres, accuracy);
    if (!(metres > accuracy)) return `${distance}, within the accuracy of the position: no direction`;
    if (metres < SURE * accuracy) return `${distance}, roughly to the ${octant(bearing)}`;
    const digits = (Math.round(bearing) % 360).toString().padStart(3, "0");
    return `${distance} at ${digits}° true (${octant(bearing)})`;
  }

  class Locator {
    constructor(map, chooser) {
      Object.assign(this, { map, chooser, watch: null, here: null, failure: "" });
      this.dot = L.circleMarker([0, 0], { radius: 8, weight: 4, color: "#fff", fillColor: "#000", fillOpacity: 1, interactive: false });
      this.edge = L.circle([0, 0], { weight: 2.5, color: "#000", dashArray: "2 6", fillColor: "#000", fillOpacity: 0.07, interactive: false });
      layoutplan.above.push(this.edge, this.dot);
      byId("locate").addEventListener("click", () => (this.watch === null ? this.start() : this.stop("")));
      chooser.listeners.push(() => this.tellWays());
    }

    start() {
      if (!navigator.geolocation) return this.say("This browser gives no position to this page. " + OTHER_WAY);
      this.press(true);
      this.failure = "";
      this.say("Asking the browser for your position … allow it if you are asked.");
      this.since = Date.now();
      this.clock = setInterval(() => this.tellAge(), 1000);
      this.watch = navigator.geolocation.watchPosition((found) => this.found(found), (failure) => this.failed(failure), OPTIONS);
    }

    stop(words) {
      navigator.geolocation.clearWatch(this.watch);
      clearInterval(this.clock);
      this.watch = this.here = null;
      this.press(false);
      this.dot.remove();
      this.edge.remove();
      this.say(words);
      this.tellWays();
    }

    press(on) {
      byId("locate").setAttribute("aria-pressed", on);
    }

    found({ coords }) {
      const first = this.here === null, middle = this.map.options.middle;
      const lng = coords.longitude + 360 * Math.round((middle - coords.longitude) / 360); // on this map's side of the antimeridian
      this.here = L.latLng(coords.latitude, lng);
      this.accuracy = Number.isFinite(coords.accuracy) && coords.accuracy > 0 ? coords.accuracy : Infinity;
      this.since = Date.now();
      this.dot.setLatLng(this.here).setStyle({ fillOpacity: 1 }).addTo(this.map);
      if (this.accuracy < Infinity) this.edge.setRadius(projected(this.accuracy, this.here.lat)).setLatLng(this.here).addTo(this.map);
      else this.edge.remove();
      this.dot.bringToFront();
      if (first) this.goThere();
      this.tellAccuracy("");
      this.tellWays();
    }

    failed({ code }) {
      const words = (FAILURES[code] || FAILURES[2])();
      if (code === 1) this.stop(words);
      else if (this.here === null) this.say(words);
      this.failure = words;
    }

    /* At the first position: the nearest tower, if none is chosen, and both in view. */
    goThere() {
      if (this.chooser.chosen === null) {
        const { towers } = this.chooser;
        const metres = towers.map(({ layer, shown }) => (shown ? ground(this.here, layer.getLatLng()).metres : Infinity));
        const nearest = metres.indexOf(Math.min(...metres));
        if (metres[nearest] < Infinity) this.chooser.choose(nearest);
      }
      const bounds = L.latLngBounds([this.here]);
      if (this.chooser.chosen !== null) this.chooser.places(this.chooser.chosen).forEach((place) => bounds.extend(place));
      this.map.fitBounds(bounds, { ...layoutplan.page.room(50), maxZoom: CLOSE_ZOOM, animate: false });
    }

    tellAccuracy(age) {
      const off = this.accuracy < Infinity
        ? `Your position: accuracy ${Math.ceil(this.accuracy)} m, positions may be off by that.`
        : "Your position: accuracy unknown, positions may be off by any amount.";
      this.say(`${age}${off} Set stakes out by distance and bearing from the tower, not by this.`);
    }

    /* A position that stands still must not pass for where somebody is now. */
    tellAge() {
      const silent = Date.now() - this.since;
      if (this.here === null) {
        if (silent > SILENT_MS && !this.failure) this.say(`No answer from the browser yet. ${refusal()}`);
      } else if (silent > OLD_MS) {
        this.dot.setStyle({ fillOpacity: 0.25 });
        this.tellAccuracy(`This position is ${Math.round(silent / 1000)} s old: you may be elsewhere by now. `);
      }
    }

    tellWays() {
      const { chosen, towers } = this.chooser;
      const tower = this.here && chosen !== null ? towers[chosen] : null;
      const places = tower ? { tower: tower.layer, H: tower.stakes.H?.layer, S: tower.stakes.S?.layer } : {};
      for (const role of ["tower", "H", "S"]) {
        const text = places[role] ? `From you: ${wayText(this.here, this.accuracy, places[role].getLatLng())}` : "";
        byId(`way-${role}`).textContent = text;
      }
    }

    say(words) {
      if (byId("here").textContent === words) return;
      byId("here").textContent = words;
      byId("here").hidden = !words;
      this.map.invalidateSize({ pan: false });
    }
  }

  Object.assign(layoutplan, { Locator, refusal });
}
