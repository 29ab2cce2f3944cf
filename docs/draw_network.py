"""Draw the earthing network of the sample for the page about it: python docs/draw_network.py."""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl
import numpy as np

from layoutplan import load_job
from layoutplan.exposure import Network, build_network
from layoutplan.inputs import read_inputs
from layoutplan.line import build_lines
from layoutplan.line.geodesy import local_axes

mpl.use("svg")
import matplotlib.pyplot as plt

ROOT = Path(__file__).parent
LOOKS = (("black", "-"), ("black", "--"), ("0.45", "-."))


def sample_network() -> Network:
    """Network of the sample job."""
    job = load_job(ROOT.parent / "sample_gis" / "job.toml")
    inputs = read_inputs(job)
    return build_network(job, build_lines(inputs.lines), [(source.line, source.faults) for source in inputs.lines])


def draw(network: Network, path: Path) -> None:
    """Plan of nodes, branches and stations in kilometres; lines that share a node meet there."""
    centre = network.towers.lonlat_deg.mean(axis=0)[None]
    east, north = local_axes(centre)
    system = next(iter(network.systems.values()))
    middle = system.place_m.mean(axis=0)
    xy = (system.place_m - middle) @ np.concatenate((east, north)).T / 1000.0
    figure, axes = plt.subplots(figsize=(9.0, 5.2), layout="constrained")
    for source, node, (colour, style) in zip(network.sources, network.joints.node, LOOKS, strict=True):
        axes.plot(*xy[node].T, color=colour, linestyle=style, linewidth=1.2, label=f"earth wires of {source.line.id}")
        towers = node[source.course.towers]
        axes.plot(*xy[towers].T, "o", color=colour, markersize=3.5)
    planned = network.node
    for row, (name, place) in enumerate(zip(network.towers.tower_id.tolist(), xy[planned], strict=True)):
        first = network.owner[row] == 0
        aside = (0, -10 if row % 2 else 5) if first else (10, -2)
        axes.annotate(name, place, aside, textcoords="offset points", fontsize=7, ha="center")
    for station in network.joints.stations:
        places = (station.place_m - middle) @ np.concatenate((east, north)).T / 1000.0
        axes.plot(*places.T, "s", color="black", markersize=9, fillstyle="none")
        text = f"{station.name}, {station.grid_ohm:g} ohm"
        axes.annotate(text, places[0], (-4, -20), textcoords="offset points", fontsize=8)
    axes.plot([], [], "s", color="black", fillstyle="none", label="station: one grid, one node")
    axes.set(xlabel="east, km", ylabel="north, km", aspect="equal")
    axes.margins(0.09)
    axes.legend(fontsize=8, loc="upper left")
    figure.savefig(path, metadata={"Date": None})
    plt.close(figure)


if __name__ == "__main__":
    mpl.rcParams["svg.hashsalt"] = "layoutplan"
    draw(sample_network(), ROOT / "images" / "earthing_network.svg")
