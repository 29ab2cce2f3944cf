"""Physics of the leads and the reading: pure functions of numbers and arrays in SI units.

Conventions: RMS phasors with time factor exp(+jωt); x east, y north; offsets positive to the right of the line's
direction; currents in the line positive in its direction; voltages positive outwards from the tower.
"""

from typing import TYPE_CHECKING

# a module bears the name of what it holds: not on first use
from layoutplan.electrical.electric_field import bundle_radius, electric_field, line_charges, space_potential
from layoutplan.first_use import on_first_use

if TYPE_CHECKING:
    from layoutplan.electrical.capacitive import lead_capacitance, lead_open_potential, lead_short_circuit_current
    from layoutplan.electrical.cross_section import Conductor, CrossSection, conductor_currents, conductor_voltages
    from layoutplan.electrical.earth_return import (
        carson_impedance,
        complex_depth,
        complex_depth_impedance,
        skin_depth,
        surface_impedance,
    )
    from layoutplan.electrical.earth_wire_chain import (
        ChainState,
        LookingBothWays,
        chain_state,
        driving_point_impedance,
        ladder_impedance,
        look_both_ways,
        mid_line_impedance,
    )
    from layoutplan.electrical.earth_wires import (
        EquivalentEarthWire,
        earth_wire_currents,
        equivalent_earth_wire,
        reduction_factor,
        split_earth_wire_current,
    )
    from layoutplan.electrical.earthing_network import EarthingNetwork, Solved, SolvedNetwork
    from layoutplan.electrical.fall_of_potential import (
        distance_for_bias,
        injected_current_ratio,
        reading_bias,
        reading_ratio,
        stake_separation,
    )
    from layoutplan.electrical.generic_sections import generic_cross_section
    from layoutplan.electrical.induction import lead_emf, ray_emf, window_reach
    from layoutplan.electrical.lead_coupling import lead_mutual_impedance
    from layoutplan.electrical.limits import (
        CONTACT_CURRENT,
        CONTACT_CURRENT_PUBLIC,
        FAULT_NOTE,
        LONG_DURATION_VOLTAGE,
        LONG_DURATION_VOLTAGE_PUBLIC,
        FixedLimit,
        LeadLevel,
        electric_field_limit,
        exposure_ratio,
        lead_level,
    )
    from layoutplan.electrical.line_geometry import SpanWindows, conductor_vertices, span_windows, straight_stretches
    from layoutplan.electrical.phasors import SEQUENCES, magnitude_range, sequence_currents
    from layoutplan.electrical.rods import (
        RodPlan,
        rod_mutual_resistance,
        rod_resistance,
        rod_voltage_share,
        rods_for_target,
        rods_resistance,
    )
    from layoutplan.electrical.series_matrix import impedance_matrix
    from layoutplan.electrical.soil import (
        equivalent_hemisphere_radius,
        soil_potential,
        surface_potential,
        transferred_voltage,
        two_layer_surface_potential,
    )
    from layoutplan.electrical.span_impedance import span_transfer_impedance
    from layoutplan.electrical.touch_voltage import (
        EN_50522_2010,
        IEEE_80_EDITION,
        TouchVoltageTable,
        decrement_factor,
        ieee80_step_voltage,
        ieee80_touch_voltage,
        permissible_touch_voltage,
        surface_layer_derating,
    )
    from layoutplan.electrical.tower_faults import TowerFaults, earth_wire_currents_near_fault, fault_at_each_tower
else:
    __getattr__ = on_first_use(__name__)

__all__ = [
    "CONTACT_CURRENT",
    "CONTACT_CURRENT_PUBLIC",
    "EN_50522_2010",
    "FAULT_NOTE",
    "IEEE_80_EDITION",
    "LONG_DURATION_VOLTAGE",
    "LONG_DURATION_VOLTAGE_PUBLIC",
    "SEQUENCES",
    "ChainState",
    "Conductor",
    "CrossSection",
    "EarthingNetwork",
    "EquivalentEarthWire",
    "FixedLimit",
    "LeadLevel",
    "LookingBothWays",
    "RodPlan",
    "Solved",
    "SolvedNetwork",
    "SpanWindows",
    "TouchVoltageTable",
    "TowerFaults",
    "bundle_radius",
    "carson_impedance",
    "chain_state",
    "complex_depth",
    "complex_depth_impedance",
    "conductor_currents",
    "conductor_vertices",
    "conductor_voltages",
    "decrement_factor",
    "distance_for_bias",
    "driving_point_impedance",
    "earth_wire_currents",
    "earth_wire_currents_near_fault",
    "electric_field",
    "electric_field_limit",
    "equivalent_earth_wire",
    "equivalent_hemisphere_radius",
    "exposure_ratio",
    "fault_at_each_tower",
    "generic_cross_section",
    "ieee80_step_voltage",
    "ieee80_touch_voltage",
    "impedance_matrix",
    "injected_current_ratio",
    "ladder_impedance",
    "lead_capacitance",
    "lead_emf",
    "lead_level",
    "lead_mutual_impedance",
    "lead_open_potential",
    "lead_short_circuit_current",
    "line_charges",
    "look_both_ways",
    "magnitude_range",
    "mid_line_impedance",
    "permissible_touch_voltage",
    "ray_emf",
    "reading_bias",
    "reading_ratio",
    "reduction_factor",
    "rod_mutual_resistance",
    "rod_resistance",
    "rod_voltage_share",
    "rods_for_target",
    "rods_resistance",
    "sequence_currents",
    "skin_depth",
    "soil_potential",
    "space_potential",
    "span_transfer_impedance",
    "span_windows",
    "split_earth_wire_current",
    "stake_separation",
    "straight_stretches",
    "surface_impedance",
    "surface_layer_derating",
    "surface_potential",
    "transferred_voltage",
    "two_layer_surface_potential",
    "window_reach",
]
