"""The one setting: where the command is. It shows under Settings > Options > Processing > Providers."""

from __future__ import annotations

from qgis.core import QgsSettings

_NAME = "LAYOUTPLAN_COMMAND"
_KEY = "Processing/Configuration/" + _NAME


def command_setting() -> str:
    """Path of the command as the user has set it; empty if not."""
    return str(QgsSettings().value(_KEY, "") or "")


def add_setting(group: str, icon: str) -> None:
    """Show the setting among those of the providers; without the Processing plug-in there is no place for it."""
    try:
        from processing.core.ProcessingConfig import ProcessingConfig, Setting
    except ImportError:
        return
    ProcessingConfig.settingIcons[group] = _icon(icon)
    ProcessingConfig.addSetting(
        Setting(group, _NAME, "Path of the layoutplan command (empty: looked for)", "", valuetype=Setting.FILE)
    )
    ProcessingConfig.readSettings()


def remove_setting() -> None:
    """Take the setting out of the list; its value stays."""
    try:
        from processing.core.ProcessingConfig import ProcessingConfig
    except ImportError:
        return
    ProcessingConfig.removeSetting(_NAME)


def _icon(path: str) -> object:
    from qgis.PyQt.QtGui import QIcon

    return QIcon(path)
