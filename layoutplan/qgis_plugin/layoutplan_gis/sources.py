"""Layers of the project as files for the command: selections, filters and layers in memory come along."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from qgis.core import (
    QgsFeature,
    QgsFeatureSink,
    QgsProcessingException,
    QgsProcessingFeatureSource,
    QgsProcessingFeedback,
    QgsVectorFileWriter,
)

# the command checks shapes itself and says what is wrong with them
AS_THEY_ARE = QgsProcessingFeatureSource.Flag.FlagSkipGeometryValidityChecks


def write_source(source: Any, name: str, path: Path, context: Any, feedback: QgsProcessingFeedback) -> dict[str, str]:
    """Write a source as a layer of a GeoPackage.

    Parameters
    ----------
    source : QgsProcessingFeatureSource, or Snapshot
        With fields, geometry type, coordinate reference system and features.
    name : str
        Of the new layer.
    path : Path
        The file; it may hold other layers already.
    context, feedback
        Of the running algorithm.

    Returns
    -------
    dict
        ``path`` and ``layer``, as the job file wants them.

    Raises
    ------
    QgsProcessingException
        The source has no coordinate reference system, or cannot be written.
    """
    crs = source.sourceCrs()
    if not crs.isValid():
        raise QgsProcessingException(
            f"layer '{source.sourceName()}' has no coordinate reference system. Set it in the layer's properties "
            "(Source); a guess could put the towers anywhere."
        )
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "GPKG"
    options.layerName = name
    # a column 'fid' of the source is data like any other, and need not be unique
    options.layerOptions = ["FID=layoutplan_row", "GEOMETRY_NAME=layoutplan_shape"]
    options.actionOnExistingFile = (
        QgsVectorFileWriter.ActionOnExistingFile.CreateOrOverwriteLayer
        if path.exists()
        else QgsVectorFileWriter.ActionOnExistingFile.CreateOrOverwriteFile
    )
    writer = QgsVectorFileWriter.create(
        str(path), source.fields(), source.wkbType(), crs, context.transformContext(), options
    )
    _complain(writer, source)
    for feature in _features(source):
        if feedback.isCanceled():
            break
        feature.setId(-1)
        if not writer.addFeature(feature, QgsFeatureSink.Flag.FastInsert):
            _complain(writer, source)
    del writer  # closes the file
    return {"path": path.name, "layer": name}


def _features(source: Any) -> Any:
    if isinstance(source, QgsProcessingFeatureSource):
        from qgis.core import QgsFeatureRequest

        return source.getFeatures(QgsFeatureRequest(), AS_THEY_ARE)
    return source.getFeatures()


def _complain(writer: QgsVectorFileWriter, source: Any) -> None:
    if writer.hasError():
        raise QgsProcessingException(f"layer '{source.sourceName()}' cannot be copied: {writer.errorMessage()}")


class Snapshot:
    """A layer as it is now, to be read from another thread than the layer's own."""

    def __init__(self, layer: Any) -> None:
        from qgis.core import QgsVectorLayerFeatureSource

        self._source = QgsVectorLayerFeatureSource(layer)
        self._fields, self._kind, self._crs, self._name = layer.fields(), layer.wkbType(), layer.crs(), layer.name()

    def fields(self) -> Any:
        """Columns."""
        return self._fields

    def wkbType(self) -> Any:  # noqa: N802 - as its fellows are called
        """Kind of geometry."""
        return self._kind

    def sourceCrs(self) -> Any:  # noqa: N802
        """Coordinate reference system."""
        return self._crs

    def sourceName(self) -> str:  # noqa: N802
        """Name in the project."""
        return str(self._name)

    def getFeatures(self) -> Any:  # noqa: N802
        """Features, those that the layer's filter leaves."""
        from qgis.core import QgsFeatureRequest

        return self._source.getFeatures(QgsFeatureRequest())

    def values(self, field: str) -> list[str]:
        """Different values of a column, as texts, sorted; empty ones left out."""
        place = self._fields.lookupField(field)
        found = {feature.attribute(place) for feature in self.getFeatures() if isinstance(feature, QgsFeature)}
        return sorted({value for value in found if isinstance(value, str) and value.strip()})
