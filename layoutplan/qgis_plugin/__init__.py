"""The plug-in for QGIS, in ``layoutplan_gis``, and the packing of it; nothing else here imports the plug-in."""
