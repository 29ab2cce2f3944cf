"""Planning through Processing gives what the command line gives."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from qgis.core import (
    QgsFeature,
    QgsProcessingContext,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingModelAlgorithm,
    QgsProcessingModelChildAlgorithm,
    QgsProcessingModelChildParameterSource,
    QgsProcessingModelOutput,
    QgsProcessingUtils,
    QgsProject,
    QgsVectorLayer,
)

ROOT = Path(__file__).parents[2]
TABLES = ("towers", "electrodes", "leads", "checks", "exposures", "alternatives", "obstacles", "approaches")


@pytest.fixture(scope="module")
def valley(sample, processing):
    def valley(layer, where=""):
        found = QgsVectorLayer(f"{sample / 'valley.gpkg'}|layername={layer}", layer, "ogr")
        found.setSubsetString(where)
        assert found.isValid()
        return found

    return valley


def test_qgis_process_gives_the_same_tables_as_the_command_line(packed_profile, planned, table, tmp_path):
    out = tmp_path / "out"
    packed_profile("layoutplan:plan", JOB=ROOT / "sample_gis" / "job.toml", OUTPUT=out)
    for name in TABLES:
        assert table(out / "plan.gpkg", name) == table(planned / "plan.gpkg", name), name
    assert (out / "plan.gpkg").read_bytes() == (planned / "plan.gpkg").read_bytes()
    assert len(table(out / "plan.gpkg", "electrodes")) == 52


def test_qgis_process_on_a_real_extract(packed_profile, command, shared_data, table, tmp_path):
    text = (ROOT / "docs/examples/andorra_150kv.toml").read_text("utf-8")
    job = tmp_path / "job.toml"
    job.write_text(text.replace("../../../shared/data", str(shared_data)), "utf-8")
    packed_profile("layoutplan:plan", JOB=job, OUTPUT=tmp_path / "gis")
    command("plan", job, "--out", tmp_path / "line", "--quiet")
    both = [table(tmp_path / name / "plan.gpkg", "electrodes") for name in ("gis", "line")]
    assert both[0] == both[1]
    assert len(both[0]) > 100


@pytest.fixture(scope="module")
def packed_profile(command, cli, tmp_path_factory):
    """qgis_process with an empty profile into which the zip was unpacked, as QGIS does it."""
    profile = tmp_path_factory.mktemp("profile")
    plugins = profile / "profiles" / "default" / "python" / "plugins"
    plugins.mkdir(parents=True)
    command("qgis-plugin", "--out", profile / "p.zip", expected=(0,))
    shutil.unpack_archive(str(profile / "p.zip"), str(plugins))
    program = shutil.which("qgis_process.bin") or shutil.which("qgis_process")
    assert program
    # QGIS takes the Python that it finds first for its own
    surroundings = {
        **os.environ,
        "PATH": f"/usr/bin:{os.environ['PATH']}",
        "QGIS_CUSTOM_CONFIG_PATH": str(profile),
        "LAYOUTPLAN_CLI": cli,
    }

    surroundings.pop("VIRTUAL_ENV", None)

    def start(*arguments):
        done = subprocess.run(
            [program, *arguments], env=surroundings, capture_output=True, text=True, timeout=300, check=False
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    start("plugins", "enable", "layoutplan_gis")
    return lambda algorithm, **values: start("run", algorithm, "--", *(f"{key}={item}" for key, item in values.items()))


@pytest.fixture(scope="module")
def plan(processing):
    def plan(feedback, context=None, **parameters):
        return processing.run("layoutplan:plan", parameters, feedback=feedback, context=context)

    return plan


@pytest.fixture
def memory_towers(valley):
    """Towers in memory: those of one line, ids that are hostile in many formats, a column 'fid'."""
    source = valley("towers", "line_id = 'ostrel-varnau'")
    layer = QgsVectorLayer(
        "Point?crs=EPSG:4326&field=fid:integer&field=Tower nr ü:string&field=seq:integer", "t", "memory"
    )
    features = []
    names = ["<b>x</b>", "--help", "=1+1", "a'; DROP TABLE towers", "Ü 塔/7"]
    for number, found in enumerate(source.getFeatures()):
        feature = QgsFeature(layer.fields())
        feature.setGeometry(found.geometry())
        name = names[number] if number < len(names) else str(found["tower_id"])
        feature.setAttributes([7, name, found["seq"]])
        features.append(feature)
    if source.crs() != layer.crs():
        layer.setCrs(source.crs())
    assert layer.dataProvider().addFeatures(features)[0]
    return layer


def test_layers_in_memory_filters_selections_and_hostile_names(
    plan, feedback, command, table, valley, sample, memory_towers, tmp_path
):
    names = sorted(str(row["Tower nr ü"]) for row in memory_towers.getFeatures())
    ids = [row.id() for row in memory_towers.getFeatures()][:6]
    memory_towers.selectByIds(ids)
    chosen = sorted(str(row["Tower nr ü"]) for row in memory_towers.selectedFeatures())
    assert 0 < len(chosen) < len(names)
    project = QgsProject.instance()
    layers = [memory_towers, valley("buildings"), valley("roads", "kind = 'main_road'")]
    project.addMapLayers(layers)
    out = tmp_path / "Aus gabe – 'ü' \"塔\""
    log = feedback()
    context = QgsProcessingContext()
    context.setProject(project)
    made = plan(
        log,
        context,
        TOWERS=QgsProcessingFeatureSourceDefinition(memory_towers.id(), selectedFeaturesOnly=True),
        ID_FIELD="Tower nr ü",
        ORDER_FIELD="seq",
        OBSTACLES=layers[1:],
        CLASSES=["buildings", "building", "roads", "main_road"],
        DEM=str(sample / "dem.tif"),
        REEL=140.0,
        OUTPUT=str(out),
    )
    towers = QgsVectorLayer(made["TOWERS_LAYER"], "t", "ogr")
    assert sorted(row["tower_id"] for row in towers.getFeatures()) == chosen
    stakes = QgsVectorLayer(made["ELECTRODES"], "e", "ogr")
    assert max(row["lead_length_m"] for row in stakes.getFeatures()) <= 140
    kinds = {row["obstacle_class"] for row in QgsVectorLayer(f"{made['PLAN']}|layername=obstacles").getFeatures()}
    assert {"building", "main_road"} <= kinds
    assert "minor_road" not in kinds  # the filter of the layer held
    assert any(text == "writing files" for text in log.said)
    assert any("take precedence" in text for text in log.warnings)
    assert len(context.layersToLoadOnCompletion()) >= 5
    # the same again from what the plug-in keeps beside the plan, without QGIS
    command("plan", out / "gis_inputs" / "job.toml", "--out", tmp_path / "again", "--quiet")
    assert table(tmp_path / "again" / "plan.gpkg", "electrodes") == table(out / "plan.gpkg", "electrodes")
    project.removeAllMapLayers()


def test_numbers_are_laid_over_a_job_file(plan, feedback, command, table, tmp_path):
    job = tmp_path / "job.toml"
    text = (ROOT / "sample_gis" / "job.toml").read_text("utf-8")
    for name in ("valley.gpkg", "fault_currents.csv", "dem.tif"):
        text = text.replace(f'"{name}"', f'"{ROOT / "sample_gis" / name}"')
    job.write_text(text, "utf-8")
    plan(feedback(), JOB=str(job), REEL=120.0, MIN_ANGLE=40.0, OUTPUT=str(tmp_path / "gis"))
    changed = text.replace("reel_m = 150.0", "reel_m = 120.0").replace("min_angle_deg = 30.0", "min_angle_deg = 40.0")
    assert changed.count("120.0") == 1
    job.write_text(changed, "utf-8")
    command("plan", job, "--out", tmp_path / "line", "--quiet")
    both = [table(tmp_path / name / "plan.gpkg", "electrodes") for name in ("gis", "line")]
    assert both[0] == both[1]


def test_outputs_feed_further_steps_of_a_model(processing, feedback, planned, table, tmp_path):
    model = QgsProcessingModelAlgorithm("m", "g")
    model.setName("chain")
    first = QgsProcessingModelChildAlgorithm("layoutplan:plan")
    first.setChildId("plan")
    value = QgsProcessingModelChildParameterSource
    first.addParameterSources("JOB", [value.fromStaticValue(str(ROOT / "sample_gis" / "job.toml"))])
    first.addParameterSources("OUTPUT", [value.fromStaticValue(str(tmp_path / "out"))])
    model.addChildAlgorithm(first)
    second = QgsProcessingModelChildAlgorithm("native:extractbyattribute")
    second.setChildId("only_h")
    second.addParameterSources("INPUT", [value.fromChildOutput("plan", "ELECTRODES")])
    second.addParameterSources("FIELD", [value.fromStaticValue("role")])
    second.addParameterSources("VALUE", [value.fromStaticValue("H")])
    result = QgsProcessingModelOutput("H stakes")
    result.setChildOutputName("OUTPUT")
    second.setModelOutputs({"H stakes": result})
    model.addChildAlgorithm(second)
    context = QgsProcessingContext()
    found, fine = model.run({"only_h:H stakes": "TEMPORARY_OUTPUT"}, context, feedback())
    assert fine
    layer = QgsProcessingUtils.mapLayerFromString(found["only_h:H stakes"], context)
    assert layer.featureCount() == 26
    assert len(table(planned / "plan.gpkg", "electrodes")) == 2 * 26
