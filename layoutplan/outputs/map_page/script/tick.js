/* Ticking off one stake: what became of it, a note, and where it stands if somebody wants to take that from the device. */
{
  const { ground, records, value, plain } = layoutplan;
  const OPTIONS = { enableHighAccuracy: true, maximumAge: 0, timeout: 60000 };
  const OLD_S = 30; // as for Where am I
  const FAR_M = 100; // beyond it somebody may stand at another stake (judgement)
  const byId = (id) => document.getElementById(id);
  const clock = (iso) => (iso ? records.clock(iso) : "");
  const accuracyWords = (metres) => (metres === null ? "accuracy unknown" : `accuracy ${Math.ceil(metres)} m`);

  /* In a few words, for buttons and rows. */
  function summary(name) {
    const { state, time, note, position } = records.of(name);
    const place = position ? `position taken, ${accuracyWords(position.accuracy)}` : state && state !== "failed" ? "no position taken" : "";
    return [state && `${state} ${clock(time)}`, place, note.trim() && "note"].filter(Boolean).join(", ");
  }

  class Tick {
    constructor() {
      this.box = byId("tick");
      this.states = [...this.box.querySelectorAll("input[name=state]")];
      this.states.forEach((radio) => radio.addEventListener("change", () => this.set({ state: radio.value })));
      byId("tick-note").addEventListener("input", () => this.set({ note: byId("tick-note").value }));
      byId("tick-take").addEventListener("click", () => (this.watch === undefined ? this.find() : this.stop()));
      byId("tick-keep").addEventListener("click", () => this.keep());
      byId("tick-drop").addEventListener("click", () => { this.put({ position: null }); byId("tick-take").focus(); });
      byId("tick-done").addEventListener("click", () => this.box.close());
      this.box.addEventListener("close", () => { this.stop(); this.stake = null; });
    }

    open(stake) {
      this.stake = stake;
      const stop = value(stake.layer, "!");
      byId("tick-title").textContent = plain(stake.layer.feature.properties.title);
      byId("tick-stop").hidden = !stop;
      byId("tick-stop").textContent = stop;
      byId("tick-plan").textContent = `${stake.name}: from ${value(stake.layer, "Set out from")}, ${value(stake.layer, "Distance")}, ${value(stake.layer, "Bearing")}`;
      this.show();
      byId("tick-note").value = records.of(stake.name).note;
      this.box.showModal(); // gives the focus back when it is closed, and Esc closes it
    }

    /* A state, or the first note, bears the time at which it was given. */
    set(changes) {
      const { time } = records.of(this.stake.name);
      this.put(changes.state !== undefined || !time ? { ...changes, time: new Date().toISOString() } : changes);
    }

    put(changes) {
      records.put(this.stake.name, changes);
      this.show();
    }

    show() {
      const { state, time, position } = records.of(this.stake.name);
      this.states.forEach((radio) => { radio.checked = radio.value === state; });
      byId("tick-time").textContent = time ? `Ticked ${clock(time)}` : "";
      byId("tick-kept").textContent = records.keptWords();
      if (this.watch === undefined) this.say(position ? `Position taken ${clock(position.time)}: ${this.whereWords(position)}` : "No position taken. It is taken only when you keep it here.");
      byId("tick-drop").hidden = !position;
      byId("tick-take").textContent = this.watch === undefined ? (position ? "Find my position again" : "Find my position") : "Stop";
      byId("tick-keep").hidden = !this.found;
    }

    /* How far from the planned place; no direction within the accuracy. */
    whereWords({ lat, lon, accuracy }) {
      const { metres, bearing } = ground(this.stake.layer.getLatLng(), { lat, lng: lon });
      const unsure = !(metres > (accuracy ?? Infinity));
      const way = unsure ? "within that accuracy" : `at ${String(Math.round(bearing) % 360).padStart(3, "0")}° true`;
      const far = metres > FAR_M + (accuracy || 0) ? " Is this the right stake?" : "";
      return `${accuracyWords(accuracy)}; ${metres.toFixed(1)} m from the planned place, ${way}.${far}`;
    }

    say(words) { byId("tick-position").textContent = words; }

    find() {
      if (!navigator.geolocation) return this.say("This browser gives no position to this page. The state and the note are kept without it.");
      this.watch = navigator.geolocation.watchPosition((found) => this.at(found), (failure) => this.failed(failure), OPTIONS);
      this.show();
      this.say("Asking the browser for your position … stand at the stake.");
    }

    at({ coords, timestamp }) {
      const accuracy = Number.isFinite(coords.accuracy) && coords.accuracy > 0 ? coords.accuracy : null;
      this.seen = Date.now();
      this.found = { lat: coords.latitude, lon: coords.longitude, accuracy, time: new Date(timestamp || Date.now()).toISOString() };
      this.show();
      this.say(`You are here: ${this.whereWords(this.found)} Wait for a better accuracy, or keep it.`);
    }

    failed({ code }) {
      if (code === 1) this.stop();
      this.say(code === 1 ? layoutplan.refusal() : "Your position cannot be found yet. Go where the sky is open.");
    }

    /* Where somebody stood a while ago is not where the stake is. */
    keep() {
      const position = this.found, old = Math.round((Date.now() - this.seen) / 1000);
      if (old > OLD_S) {
        this.found = undefined;
        this.show();
        byId("tick-take").focus();
        return this.say(`That position is ${old} s old: stand at the stake and wait for a new one.`);
      }
      this.stop();
      this.put({ position });
      byId("tick-take").focus();
    }

    stop() {
      if (this.watch !== undefined) navigator.geolocation.clearWatch(this.watch);
      this.watch = this.found = undefined;
      if (this.stake) this.show();
    }
  }

  Object.assign(layoutplan, { Tick, summary });
}
