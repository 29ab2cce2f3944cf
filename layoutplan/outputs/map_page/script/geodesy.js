"use strict";
/* The page's own script, in several files that run one after the other, above Leaflet. Texts in features are inert HTML
   already (see layers.py); `plain` gives the letters back, for textContent only. */
const layoutplan = { ...SETTINGS, towers: [] };
{
  const RAD = Math.PI / 180, SEMI_MAJOR_M = 6378137, E2 = 0.0066943799901413165; // WGS 84
  const OCTANTS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];

  /* The ellipsoid's two radii at a latitude: east-west and north-south. */
  function radii(lat) {
    const w2 = 1 - E2 * Math.sin(lat * RAD) ** 2;
    return { eastWest: SEMI_MAJOR_M / Math.sqrt(w2), northSouth: (SEMI_MAJOR_M * (1 - E2)) / w2 ** 1.5 };
  }

  /* Ground distance and true bearing: Gauss's mid-latitude formula, millimetres at 10 km, half a metre at 200 km. */
  function ground(from, to) {
    const mid = ((from.lat + to.lat) / 2) * RAD, turn = L.Util.wrapNum(to.lng - from.lng, [-180, 180]);
    const dlon = turn * RAD, dlat = (to.lat - from.lat) * RAD, { eastWest, northSouth } = radii(mid / RAD);
    const east = eastWest * Math.cos(mid) * dlon, north = northSouth * dlat * Math.cos(dlon / 2);
    const bearing = Math.atan2(east, north) / RAD - (dlon * Math.sin(mid)) / 2 / RAD;
    return { metres: Math.hypot(east, north), bearing: (bearing + 360) % 360 };
  }
  L.CRS.EPSG3857.distance = (from, to) => ground(from, to).metres; // Leaflet's own is a sphere's; the scale bar asks it

  /* Metres on the ground in units of the map's projection, which is what a circle on this map is drawn by. */
  const projected = (metres, lat) => (metres * SEMI_MAJOR_M) / (radii(lat).eastWest * Math.cos(lat * RAD));

  const octant = (bearing) => OCTANTS[Math.round(bearing / 45) % 8];

  layoutplan.plain = (html) =>
    /[&<]/.test(html) ? new DOMParser().parseFromString(html, "text/html").documentElement.textContent : html;
  Object.assign(layoutplan, { ground, projected, octant });
}
