"""What would make GDAL go on line: for each of its drivers names and files, handed to GDAL as they are or by the door.

Run by itself, ``online.py FOLDER PORT``, it hands everything to the libraries unprotected, to show that the names and
files are no straw men, and prints which went on line as JSON.
"""

from __future__ import annotations

import json
import sqlite3
import sys
import warnings
import zipfile
from collections.abc import Callable
from contextlib import closing, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

KEYS = {  # services that have an address of their own are sent to ours
    "EEDA_URL": "{url}/eeda",
    "EEDA_BEARER": "b",
    "PL_API_KEY": "k",
    "PL_URL": "{url}/pl",
    "CARTO_API_URL": "{url}/carto",
    "AMIGOCLOUD_API_URL": "{url}/amigo",
    "AMIGOCLOUD_API_KEY": "k",
    "GDAL_DAAS_ACCESS_TOKEN": "t",
    "AWS_ACCESS_KEY_ID": "a",
    "AWS_SECRET_ACCESS_KEY": "b",
    "AWS_HTTPS": "NO",
    "AWS_VIRTUAL_HOSTING": "FALSE",
    "GDAL_HTTP_CONNECTTIMEOUT": "2",
    "GDAL_HTTP_TIMEOUT": "4",
}
OGR_VRT = '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>{}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'
VRT = (
    '<VRTDataset rasterXSize="2" rasterYSize="2"><SRS>EPSG:4326</SRS><GeoTransform>8,0.1,0,49,0,-0.1</GeoTransform>'
    '<VRTRasterBand dataType="Float32" band="1"><SimpleSource><SourceFilename>{}</SourceFilename>'
    "<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
)
WMS = (
    '<GDAL_WMS><Service name="TMS"><ServerUrl>{}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service><DataWindow>'
    "<UpperLeftX>-180</UpperLeftX><UpperLeftY>90</UpperLeftY><LowerRightX>180</LowerRightX>"
    "<LowerRightY>-90</LowerRightY><TileLevel>1</TileLevel><TileCountX>2</TileCountX><TileCountY>1</TileCountY>"
    "</DataWindow><Projection>EPSG:4326</Projection><BandsCount>1</BandsCount></GDAL_WMS>"
)
WMTS = "<GDAL_WMTS><GetCapabilitiesUrl>{}/caps</GetCapabilitiesUrl><Layer>a</Layer></GDAL_WMTS>"
WCS = "<WCS_GDAL><ServiceURL>{}/wcs?</ServiceURL><CoverageName>a</CoverageName><Version>1.0.0</Version></WCS_GDAL>"
WFS = "<OGRWFSDataSource><URL>{}/wfs</URL></OGRWFSDataSource>"
OAPIF = "<OGCAPIDataset><URL>{}/oapi</URL></OGCAPIDataset>"
PIPELINE = json.dumps({"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read {} ! limit 1"})
GML = (
    '<?xml version="1.0"?>{}<ogr:FeatureCollection xmlns:ogr="http://ogr.maptools.org/" '
    'xmlns:gml="http://www.opengis.net/gml" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
    'xmlns:xlink="http://www.w3.org/1999/xlink" xsi:schemaLocation="http://ogr.maptools.org/ {}/a.xsd">'
    '<gml:featureMember xlink:href="{}/member.gml"/><gml:featureMember><ogr:a fid="a.0"><ogr:g><gml:Point '
    'srsName="EPSG:4326"><gml:coordinates>8,49</gml:coordinates></gml:Point></ogr:g><ogr:n>{}</ogr:n></ogr:a>'
    "</gml:featureMember></ogr:FeatureCollection>"
)
KML = (
    '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><NetworkLink><Link><href>{0}/l.kml</href></Link></NetworkLink>'
    "<Placemark><styleUrl>{0}/s.kml#a</styleUrl><Point><coordinates>8,49</coordinates></Point></Placemark></Document></kml>"
)
OVERLAY = (
    '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Region/><NetworkLink><Region/><Link><href>{0}/0.kmz</href>'
    "</Link></NetworkLink><GroundOverlay><Icon><href>{0}/0.png</href></Icon><LatLonBox><north>1</north><south>0</south>"
    "<east>1</east><west>0</west></LatLonBox></GroundOverlay></Document></kml>"
)
STAC_ITEM = json.dumps(
    {
        "type": "FeatureCollection",
        "stac_version": "1.0.0",
        "features": [
            {
                "type": "Feature",
                "stac_version": "1.0.0",
                "id": "a",
                "geometry": {"type": "Point", "coordinates": [8, 49]},
                "properties": {"proj:epsg": 4326, "proj:transform": [0.1, 0, 8, 0, -0.1, 49], "proj:shape": [2, 2]},
                "assets": {"data": {"href": "@/a.tif"}},
                "collection": "c",
            }
        ],
        "links": [{"rel": "next", "href": "@/next.json"}],
    }
)
STAC_TILED = json.dumps(
    {
        "type": "Feature",
        "stac_version": "1.0.0",
        "stac_extensions": ["tiled-assets"],
        "id": "a",
        "geometry": None,
        "properties": {
            "tiles:tile_matrix_links": {"m": {"url": "#m"}},
            "tiles:tile_matrix_sets": {"m": {"identifier": "GoogleMapsCompatible", "url": "@/tms.json"}},
        },
        "asset_templates": {"b": {"href": "@/{TileMatrix}/{TileCol}/{TileRow}.tif"}},
        "links": [],
    }
)
TILES = (
    "<GDALTileIndexDataset><IndexDataset>/vsicurl/{0}/i.gpkg</IndexDataset><LocationField>location</LocationField>"
    "</GDALTileIndexDataset>"
)
MRF = (
    "<MRF_META><CachedSource><Source>/vsicurl/{0}/s.tif</Source></CachedSource><Raster><Size x='2' y='2'/>"
    "<DataFile>/vsicurl/{0}/d.dat</DataFile><IndexFile>/vsicurl/{0}/i.idx</IndexFile></Raster></MRF_META>"
)
ESRI = '{"objectIdFieldName":"a","geometryType":"esriGeometryPoint","features":[],"exceededTransferLimit":true}'
# what each driver calls its services; every driver is tried by its own name besides
PREFIXES = {
    "WFS": ("WFS:{}/wfs",),
    "OAPIF": ("OAPIF:{}/oapif", "WFS3:{}/wfs3"),
    "CSW": ("CSW:{}/csw",),
    "WMS": ("WMS:{}/wms?LAYERS=a&SRS=EPSG:4326&BBOX=0,0,1,1", "AGS:{}/ags", "{}/a/MapServer?f=json&pretty=true"),
    "WMTS": ("WMTS:{}/wmts",),
    "WCS": ("WCS:{}/wcs?coverage=a&version=1.0.0",),
    "OGCAPI": ("OGCAPI:{}/ogcapi",),
    "STACIT": ('STACIT:"{}/s.json"',),
    "STACTA": ('STACTA:"{}/s.json"',),
    "Elasticsearch": ("ES:{}",),
    "Carto": ("Carto:a",),
    "AmigoCloud": ("AmigoCloud:1 datasets=1",),
    "PLSCENES": ("PLScenes:version=data_v1,api_key=k",),
    "PLMOSAIC": ("PLMosaic:api_key=k",),
    "EEDA": ("EEDA:projects/a/b",),
    "EEDAI": ("EEDAI:projects/a/b",),
    "DAAS": ("DAAS:{}/daas",),
    "NGW": ("NGW:{}/resource/1",),
    "MVT": ("MVT:{}/0",),
    "PMTiles": ("/vsipmtiles//vsicurl/{}/a.pmtiles",),
    "Zarr": ('ZARR:"/vsicurl/{}/a.zarr"',),
    "GTI": ("GTI:/vsicurl/{}/a.gti.gpkg",),
    "GDALG": (PIPELINE.replace("{}", "/vsicurl/{}/a.gpkg"),),
    "VRT": ("vrt:///vsicurl/{}/a.tif", "vrt://{}/a.tif"),
    "HTTP": ("{}/a.bin",),
    "ADBC": ("ADBC:{}/a.duckdb",),
    "OGR_VRT": (OGR_VRT.replace("{}", "/vsicurl/{}/a.gpkg"),),
    "GPX": ("/vsicurl_streaming/{}/a.gpx",),
    "GeoJSON": ("{}/a.geojson", "GeoJSON:{}/a.geojson", "/vsis3/bucket/a.geojson"),
    "COG": ("/vsigs/bucket/a.tif", "/vsiaz/bucket/a.tif", "/vsioss/bucket/a.tif", "/vsiswift/bucket/a.tif"),
    "KML": ("/vsizip//vsicurl/{}/a.kmz", "/vsigzip//vsicurl/{}/a.kml.gz", "/vsitar//vsicurl/{}/a.tar"),
}


class Server:
    """Listens on this machine and keeps what it is asked for."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        asked = self.asked

        class Handler(BaseHTTPRequestHandler):
            def answer(self) -> None:
                asked.append(f"{self.command} {self.path}")
                self.send_error(404)

            do_GET = do_HEAD = do_POST = do_CONNECT = do_OPTIONS = do_PROPFIND = answer  # noqa: N815

            def log_message(self, *args: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        Thread(target=self._server.serve_forever, daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


def environment(url: str) -> dict[str, str]:
    """Variables under which every request, wherever it is meant to go, comes to the listener."""
    own = {key: value.format(url=url) for key, value in KEYS.items()}
    ends = {"AWS_S3_ENDPOINT": url, "OSS_ENDPOINT": url, "CPL_GS_ENDPOINT": f"{url}/", "AZURE_STORAGE_ACCOUNT": "a"}
    proxies = dict.fromkeys(("http_proxy", "https_proxy", "all_proxy", "HTTPS_PROXY"), url)
    host = url.removeprefix("http://")
    return own | ends | proxies | {"AWS_S3_ENDPOINT": host, "no_proxy": "127.0.0.1", "NO_PROXY": "127.0.0.1"}


def names(drivers: dict[str, str], url: str) -> dict[str, list[str]]:
    """What to ask GDAL for by name, for each of its drivers."""
    out = {}
    for number, driver in enumerate(drivers):
        place = f"{url}/{number}"
        own = [f"{driver}:{place}/x", f"/vsicurl/{place}/x.{driver.lower()[:4]}", f"{place}/x.{driver.lower()[:4]}"]
        out[driver] = [*own, *(text.replace("{}", place) for text in PREFIXES.get(driver, ()))]
    return out


def files(folder: Path, url: str) -> dict[str, Path]:
    """Files that tell GDAL to go on line, by what they are."""
    folder.mkdir(parents=True, exist_ok=True)
    doctype = f'<!DOCTYPE a [<!ENTITY x SYSTEM "{url}/entity">]>'
    texts = {
        "wfs.xml": WFS.format(f"{url}/1"),
        "wfs_as_table.dbf": WFS.format(f"{url}/2"),
        "wfs_in_comment.gml": "<!-- <OGRWFSDataSource> -->" + GML.format("", f"{url}/3", f"{url}/3", "n"),
        "wms.xml": WMS.format(f"{url}/4"),
        "wms.tif": WMS.format(f"{url}/5"),
        "wmts.xml": WMTS.format(f"{url}/6"),
        "wcs.xml": WCS.format(f"{url}/7"),
        "oapi.xml": OAPIF.format(f"{url}/8"),
        "remote_layer.vrt": OGR_VRT.format(f"/vsicurl/{url}/9/a.gpkg"),
        "service_layer.vrt": OGR_VRT.format(f"WFS:{url}/10/a"),
        "inline_layer.vrt": OGR_VRT.format(f"<![CDATA[{WFS.format(f'{url}/11')}]]>"),
        "remote_raster.vrt": VRT.format(f"/vsicurl/{url}/12/a.tif"),
        "service_raster.vrt": VRT.format(f"WMS:{url}/13/a?LAYERS=a&amp;SRS=EPSG:4326&amp;BBOX=0,0,1,1"),
        "inline_raster.vrt": VRT.format(f"<![CDATA[{WMS.format(f'{url}/14')}]]>"),
        "stac.json": STAC_ITEM.replace("@", f"{url}/15"),
        "stac_tiled.json": STAC_TILED.replace("@", f"{url}/16"),
        "pipeline.gdalg.json": PIPELINE.replace("{}", f"/vsicurl/{url}/17/a.gpkg"),
        "tiles.gti": TILES.format(f"{url}/18"),
        "a.mrf": MRF.format(f"{url}/19"),
        "schema.gml": GML.format("", f"{url}/20", f"{url}/20", "n"),
        "entity.gml": GML.format(doctype, f"{url}/21", f"{url}/21", "&x;"),
        "links.kml": KML.format(f"{url}/22"),
        "overlay.kml": OVERLAY.format(f"{url}/23"),
        "entity.gpx": doctype + '<gpx version="1.1"><wpt lat="49" lon="8"><name>&x;</name></wpt></gpx>',
        "pages.json": ESRI,
        "links.geojson": '{"type":"FeatureCollection","links":[{"rel":"next","href":"@/n"}],"features":[]}'.replace(
            "@", url
        ),
        "two_steps.vrt": OGR_VRT.format("remote_layer.vrt").replace(
            "<SrcDataSource>", '<SrcDataSource relativeToVRT="1">'
        ),
        "wms_tile.vrt": VRT.format("wms.tif").replace("<SourceFilename>", '<SourceFilename relativeToVRT="1">'),
        "code.vrt": VRT.replace(
            '<VRTRasterBand dataType="Float32" band="1">',
            '<VRTRasterBand dataType="Float32" band="1" subClass="VRTDerivedRasterBand"><PixelFunctionLanguage>Python'
            "</PixelFunctionLanguage><PixelFunctionType>f</PixelFunctionType><PixelFunctionCode>import urllib.request;"
            f"urllib.request.urlopen('{url}/code')</PixelFunctionCode>",
        ).format("wms.tif"),
    }
    for name, text in texts.items():
        (folder / name).write_text(text)
    with zipfile.ZipFile(folder / "links.kmz", "w") as archive:
        archive.writestr("doc.kml", KML.format(f"{url}/24"))
    with zipfile.ZipFile(folder / "packed.zip", "w") as archive:
        archive.writestr("a.vrt", OGR_VRT.format(f"/vsicurl/{url}/25/a.gpkg"))
    _database(folder / "view.gpkg", f"SELECT 1 AS fid, ogr_geocode('{url}/26') AS geom")
    _database(folder / "view.sqlite", f"SELECT ogr_geocode('{url}/27') AS a")
    return {path.name: path for path in sorted(folder.iterdir())}


def _database(path: Path, view: str) -> None:
    with closing(sqlite3.connect(path)) as base, base:
        base.execute("PRAGMA application_id = 0x47504B47")
        base.execute("CREATE TABLE a (fid INTEGER PRIMARY KEY, b TEXT)")
        base.execute(f"CREATE VIEW gpkg_contents AS {view}")


def went_on_line(server: Server, attempts: dict[str, list[Callable[[], object]]]) -> dict[str, int]:
    """How many requests each of some attempts made, whatever else became of it."""
    counts = {}
    for name, tries in attempts.items():
        before = len(server.asked)
        for attempt in tries:
            with warnings.catch_warnings(), suppress(Exception):  # only requests count here
                warnings.simplefilter("ignore")
                attempt()
        counts[name] = len(server.asked) - before
    return counts


def handed_over(vector: dict[str, str], raster: dict[str, str], folder: Path, url: str) -> dict[str, list[Any]]:
    """Everything handed to the libraries as it is, by driver and by file."""
    import pyogrio
    import rasterio

    def with_vector(name: str) -> Callable[[], object]:
        return lambda: pyogrio.read_info(name)

    def with_raster(name: str) -> Callable[[], object]:
        def read() -> None:
            with rasterio.open(name) as opened:
                opened.read(1)

        return read

    out: dict[str, list[Any]] = {}
    for driver, texts in names(vector, f"{url}/v").items():
        out[f"vector {driver}"] = [with_vector(text) for text in texts]
    for driver, texts in names(raster, f"{url}/r").items():
        out[f"raster {driver}"] = [with_raster(text) for text in texts]
    for name, path in files(folder, url).items():
        out[f"file {name}"] = [with_vector(str(path)), with_raster(str(path))]
    return out


def installed() -> tuple[dict[str, str], dict[str, str]]:
    """Drivers of the two copies of GDAL."""
    import pyogrio
    import rasterio

    with rasterio.Env() as env:
        return dict(pyogrio.list_drivers()), dict(env.drivers())


if __name__ == "__main__":
    import os

    listener = Server()
    os.environ.update(environment(listener.url))
    found = went_on_line(listener, handed_over(*installed(), Path(sys.argv[1]), listener.url))
    sys.stdout.write(json.dumps(found))
