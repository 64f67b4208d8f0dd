"""A plant without physics: quantities stay what a test sets them to; current flows when the path is closed."""

from __future__ import annotations

from collections.abc import Mapping

from simulator.boards.bench import Asked

AT_REST = {
    "current_a": 0.0,
    "stack_voltage_v": 6.6,
    "cell_temperature_c": 62.0,
    "coolant_outlet_c": 15.5,
    "coolant_inlet_c": 15.0,
    "coolant_flow_l_min": 2.0,
    "level_h_mm": 180.0,
    "level_o_mm": 180.0,
    "pressure_h_mbar": 5.0,
    "pressure_o_mbar": 5.0,
    "room_h2_percent": 0.0,
    "h2_in_o2_percent": 0.3,
    "air_flow_m3_h": 20.0,
    "tray_mm": 0.0,
}


class StillPlant:
    def __init__(self, **quantities: float) -> None:
        self.now = AT_REST | quantities
        self.asked = Asked()
        self.current_when_closed_a = 30.0

    def advance(self, asked: Asked, dt_s: float) -> None:
        self.asked = asked
        closed = asked.main_closed and asked.second_closed and asked.mains
        limit_a = self.current_when_closed_a if asked.setpoint_a is None else asked.setpoint_a
        self.now["current_a"] = limit_a if closed else 0.0

    def quantities(self) -> Mapping[str, float]:
        return self.now
