/* Features: unpacked from columns (see packing.py, layers.py), those of the base map only where somebody looks. */
{
  const TYPES = ["MultiPoint", "MultiLineString", "Polygon"];
  const MOST_DRAWN = 4000; // features of the base map at a time; a telephone still pans
  const stores = [];

  const DIGITS = new Uint8Array(128);
  [..."ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"].forEach((letter, digit) => { DIGITS[letter.charCodeAt(0)] = digit; });

  /* The points of one ring, line or point. */
  function along(piece, unit, add) {
    const at = [0, 0];
    for (let k = 0, axis = 0; k < piece.length; axis = 1 - axis) {
      let number = 0, digit = 32;
      for (let scale = 1; digit > 31; scale *= 32) number += ((digit = DIGITS[piece.charCodeAt(k++)]) & 31) * scale;
      at[axis] += number % 2 ? -(number + 1) / 2 : number / 2;
      if (axis) add(at[0] / unit, at[1] / unit);
    }
  }

  function feature({ columns, unit, words }, row) {
    const dimension = columns.dimension[row];
    const lines = columns.shape[row].split(" ").map((piece) => {
      const points = [];
      along(piece, unit, (x, y) => points.push([x, y]));
      return points;
    });
    const single = dimension < 2 && lines.length === 1;
    const coordinates = single ? (dimension ? lines[0] : lines[0][0]) : dimension ? lines : lines.map(([point]) => point);
    const properties = Object.fromEntries(Object.entries(columns).map(([key, values]) => [key, values[row]]));
    const [style, title] = words.kinds[properties.shared] || []; // title of what has no name
    if (style) Object.assign(properties, { style, title: properties.title || title });
    return { type: "Feature", properties, words, geometry: { type: TYPES[dimension].slice(single ? 5 : 0), coordinates } };
  }

  /* The plan itself: all of it from the start. */
  const add = (group, packed) => group.addData(packed.columns.shape.map((_, row) => feature(packed, row)));

  /* The base map: kept packed, with a box around each feature. */
  function keep(group, packed) {
    const boxes = packed.columns.shape.map((pieces) => {
      const box = [Infinity, Infinity, -Infinity, -Infinity];
      for (const piece of pieces.split(" "))
        along(piece, packed.unit, (x, y) => {
          if (x < box[0]) box[0] = x;
          if (y < box[1]) box[1] = y;
          if (x > box[2]) box[2] = x;
          if (y > box[3]) box[3] = y;
        });
      return box;
    });
    stores.push({ group, packed, boxes, made: new Map() });
  }

  const within = ({ boxes }, view) => {
    const [west, south, east, north] = [view.getWest(), view.getSouth(), view.getEast(), view.getNorth()];
    const rows = [];
    boxes.forEach((box, row) => box[0] <= east && box[2] >= west && box[1] <= north && box[3] >= south && rows.push(row));
    return rows;
  };

  function draw({ group, packed, made }, rows) {
    const wanted = new Set(rows);
    for (const [row, layer] of made) if (!wanted.has(row)) { group.removeLayer(layer); made.delete(row); }
    let fresh = 0;
    for (const row of rows) {
      if (made.has(row)) continue;
      const one = feature(packed, row);
      group.addData(one);
      made.set(row, one.layer); // `describe` put it there
      fresh++;
    }
    return fresh;
  }

  /* Draws the base map around the view, or none of it where there is too much; an empty map must say that it is empty. */
  function look(map, note) {
    const view = map.getBounds().pad(0.3), drawn = stores.filter(({ group }) => map.hasLayer(group));
    const rows = drawn.map((store) => within(store, view));
    const tooMany = rows.reduce((sum, some) => sum + some.length, 0) > MOST_DRAWN;
    note.hidden = !tooMany;
    const fresh = drawn.map((store, place) => draw(store, tooMany ? [] : rows[place]));
    return fresh.some(Boolean);
  }

  /* Puts the layers of groups in order, the first below, and what is `above` on top. */
  function restack(map, groups) {
    for (const group of groups) {
      if (!map.hasLayer(group)) continue;
      const store = stores.find((one) => one.group === group);
      if (!store) group.bringToFront();
      else [...store.made.keys()].sort((a, b) => a - b).forEach((row) => store.made.get(row).bringToFront());
    }
    layoutplan.above.forEach((layer) => map.hasLayer(layer) && layer.bringToFront());
  }

  Object.assign(layoutplan, { add, keep, look, restack, above: [] });
}
