"""The invented controllers of two sister harbour tugs: what their memories hold.

Invented throughout, for the demo and the tests.
"""

from __future__ import annotations

THRUSTER: dict[str, str] = {
    "controller_serial": "TC2-0417",
    "software_version": "3.2",
    "commissioned_on": "2019-05-14",
    "station": "bow",
    "direction_reversed": "no",
    "remote_panel_fitted": "yes",
    "analogue_offset": "-3",
    "analogue_gain": "1.0021",
    "node_address": "7",
    "ramp_up_time": "12.5",
    "ramp_down_time": "8.0",
    "idle_speed": "700",
    "full_speed": "1500",
    "pitch_limit_port": "-18.5",
    "pitch_limit_starboard": "18.5",
    "overload_current": "340",
    "overload_delay": "4.0",
    "control_mode": "bridge",
    "start_needs_lube_oil_pressure": "yes",
    "start_needs_zero_pitch": "yes",
    "start_needs_hatch_closed": "no",
    "oil_temperature_high": "72.5",
    "oil_temperature_trip": "82.5",
    "pitch_feedback_low": "4.00",
    "pitch_feedback_high": "20.00",
    "run_hours": "8421.7",
    "start_count": "2311",
    "clock": "2025-03-10 09:41:07",
}
"""The port thruster of the first tug at the first visit."""

CHANNELS = (
    ("pressure", "alarm", "6.0", "1.5", "3.0"),
    ("pressure", "stop", "8.5", "0.5", "1.0"),
    ("level", "indication", "9.0", "2.0", "10.0"),
    ("pressure", "reduction", "7.2", "1.0", "5.0"),
    ("temperature", "alarm", "9.5", "0.0", "12.0"),
    ("pressure", "alarm", "3.5", "0.8", "2.5"),
)
"""Signal, alarm class, upper and lower limit and delay of the first channels."""

CHANNEL_ROWS = 20

WINCH: dict[str, str] = {
    "winch_serial": "20190611",
    "builder_text": "aft towing winch",
    "tested_on": "2019-06-20 14:30",
    "brake_holding_load": "850",
    "brake_release_load": "620.5",
    "render_speed": "12.5",
    "line_length_factor": "0.03142",
    "levelling_trim": "-1.5",
    "load_cell_warning": "610.0",
    "emergency_release": "armed",
    "alarm_horn_fitted": "1",
    "second_control_stand": "0",
    "drum_sensor_teeth": "48",
    "load_cell_card_gain": "1.015625",
    "rope_hours": "1204.25",
    "drum_position": "3170",
}
"""The towing winch of the first tug."""


def thruster(**changed: str) -> dict[str, str]:
    """Return a thruster's values, with those that are changed."""
    values = dict(THRUSTER)
    for number in range(1, CHANNEL_ROWS + 1):
        row = f"channel[{number}]"
        signal, alarm, high, low, delay = (
            CHANNELS[number - 1]
            if number <= len(CHANNELS)
            else ("not used", "none", "10.0", "0.0", "0.0")
        )
        values |= {
            f"{row}.signal": signal,
            f"{row}.alarm_class": alarm,
            f"{row}.inhibited": "0",
            f"{row}.upper_limit": high,
            f"{row}.lower_limit": low,
            f"{row}.delay": delay,
        }
    return values | changed


def winch(**changed: str) -> dict[str, str]:
    """Return a winch's values, with those that are changed."""
    values = dict(WINCH)
    for drum, rope in (("1", "52"), ("2", "48")):
        values[f"drum[{drum}].rope_diameter"] = rope
        values[f"drum[{drum}].layers"] = "6"
        for gear in range(1, 5):
            row = f"drum[{drum}].gear[{gear}]"
            values[f"{row}.speed_limit"] = f"{gear * 45 / 100:.2f}"
            values[f"{row}.load_limit"] = str(900 - gear * 150)
    for number in range(1, 9):
        values[f"event[{number}].at"] = f"2024-11-{number:02d} 06:1{number}:00"
        values[f"event[{number}].code"] = "power on"
    return values | changed
