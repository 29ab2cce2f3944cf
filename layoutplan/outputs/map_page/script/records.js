/* What was ticked off for each stake: kept in the browser's storage under the plan's number, and the file that takes it home. */
{
  const { plan, states, longest_note: LONGEST } = layoutplan;
  const OWN = `layoutplan/${plan}/`; // one entry for each stake: two open pages do not write over each other's
  const COLUMNS = ["name", "plan_number", "line_id", "tower_id", "role", "state", "time", "lon", "lat", "accuracy_m", "position_time", "note"];
  const FORMULA = /^[=+\-@|%;]/; // what a spreadsheet would run, see text.py
  const memory = new Map(), listeners = [];
  let storage = null, unsent = false;

  /* Storage may be refused, full, or hold what another page wrote: nothing in it is believed. */
  function open() {
    try {
      storage = window.localStorage;
      storage.setItem(`${OWN}?`, "");
      storage.removeItem(`${OWN}?`);
      for (const key of Object.keys(storage)) if (key.startsWith(OWN)) take(key.slice(OWN.length), storage.getItem(key));
    } catch {
      storage = null;
    }
  }

  function take(name, text) {
    const found = believed(text);
    if (found) memory.set(name, found);
    else memory.delete(name);
  }

  const moment = (value) => (typeof value === "string" && !Number.isNaN(Date.parse(value)) ? new Date(value).toISOString() : "");
  const within = (value, most) => (Number.isFinite(value) && Math.abs(value) <= most ? value : null);

  function believed(text) {
    let found;
    try { found = JSON.parse(text); } catch { return null; }
    if (!found || typeof found !== "object") return null;
    const { lat, lon, accuracy } = found.position || {};
    const placed = within(lat, 90) !== null && within(lon, 180) !== null;
    return {
      state: states.includes(found.state) ? found.state : "",
      note: typeof found.note === "string" ? found.note.slice(0, LONGEST) : "",
      time: moment(found.time),
      position: placed ? { lat, lon, accuracy: accuracy > 0 ? within(accuracy, 1e7) : null, time: moment(found.position.time) } : null,
    };
  }

  const empty = () => ({ state: "", note: "", time: "", position: null });
  const of = (name) => ({ ...empty(), ...memory.get(name) });
  const isEmpty = ({ state, note, position }) => !state && !note.trim() && !position;

  function put(name, changes) {
    const next = { ...of(name), ...changes };
    unsent = true;
    if (isEmpty(next)) memory.delete(name);
    else memory.set(name, next);
    try {
      if (isEmpty(next)) storage.removeItem(OWN + name);
      else storage.setItem(OWN + name, JSON.stringify(next));
    } catch {
      storage = null;
    }
    tell();
  }

  const tell = () => listeners.forEach((listener) => listener());

  const keptWords = () => (storage
    ? "Kept in this browser until its data are cleared: save the file at the end of the day."
    : "This browser keeps nothing for this page: what you tick is lost when the page is closed. Save the file before that.");

  /* A cell on one line, in quotes; what a spreadsheet would run gets an apostrophe, which check takes off again. */
  function cell(value) {
    const text = String(value ?? "").replace(/[\u0000-\u001f\u007f-\u009f\u2028\u2029]+/g, " ").trim();
    const inert = FORMULA.test(text.normalize("NFKC")) && Number.isNaN(Number(text)) ? `'${text}` : text;
    return `"${inert.replace(/"/g, '""')}"`;
  }

  function row({ name, line, tower, role }, { state, note, time, position }) {
    const place = position || { lat: "", lon: "", accuracy: "", time: "" };
    const figures = position ? [place.lon.toFixed(7), place.lat.toFixed(7), place.accuracy === null ? "" : (Math.ceil(place.accuracy * 100) / 100).toFixed(2)] : ["", "", ""];
    return [name, plan, line, tower, role, state, time, ...figures, place.time, note].map(cell).join(",");
  }

  /* Date and time where the device is, in the order that nobody misreads. */
  function clock(time) {
    const two = (number) => String(number).padStart(2, "0"), at = new Date(time);
    return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${two(at.getHours())}:${two(at.getMinutes())}`;
  }

  /* The file: CSV, as check --staked reads it; the newest is known by its name. */
  function file(stakes) {
    const ticked = stakes.filter(({ name }) => memory.has(name));
    const lines = [COLUMNS.join(","), ...ticked.map((stake) => row(stake, of(stake.name)))];
    const stamp = clock(new Date()).replace(" ", "_").replace(":", "");
    return new File([`\ufeff${lines.join("\r\n")}\r\n`], `staked_${plan}_${stamp}.csv`, { type: "text/csv" });
  }

  function sent() { unsent = false; }

  open();
  addEventListener("storage", ({ key, newValue }) => {
    if (!key || !key.startsWith(OWN)) return;
    take(key.slice(OWN.length), newValue);
    tell();
  });
  addEventListener("beforeunload", (event) => { if (!storage && unsent) event.preventDefault(); });

  layoutplan.records = { of, put, file, sent, clock, listeners, keptWords, has: (name) => memory.has(name) };
}
