"""The schema that `list scenario-schema` prints, held against somebody else's validator: every shipped
scenario passes, and each of these wrong ones is refused."""
import json
import pathlib
import subprocess
import sys

SKIPPED = 77
try:
    import jsonschema
    import yaml
except ImportError as missing:
    print(f"SKIPPED: {missing}; install python3-jsonschema and python3-yaml")
    sys.exit(SKIPPED)

RIGHT = """
scenario: Everything
lasts: 4 s
seed: 7
parameters: {top: {value: 2.6 V, range: 1 V to 4 V, text: at the wire}}
include: [parts/start-up.yaml, {from: parts/hill.yaml, at: 2 s}]
start: {speed: 60 rpm, key: on, bus_voltage: 0 V, temperature: {winding: 80 degC}}
road: [{at: 0 m, slope: 0 %}, {at: 20 m, slope: 6 %, over: 5 m, wind: 3 m/s}]
timeline:
  - {at: 0.4 s, throttle: "${top}", over: 300 ms}
  - {at: 0.8 s, throttle: 40 %}
  - {when: speed > 300 rpm for 50 ms, after: throttle, by: 3 s, brake: on}
  - {at: 1 s, slope: {sine: {amplitude: 2 %, frequency: 5 Hz, for: 1 s}}}
  - {at: 1 s, load_torque: {table: torque.csv}}
  - {at: 1 s, temperature: 80 degC, body: winding}
  - {at: 2 s, fault: hall_line_open, line: U, intermittent: {probability: 10 %, lasts: 5 ms, for: 1 s}}
  - {at: 3.5 s, clear: hall_line_open, line: U}
expect:
  - {measure: phase_current_peak, before: throttle, from: 100 ms, max: 60 A, because: not yet}
  - {measure: speed_mean, after: throttle, until: brake on, min: 10 rpm}
"""

WRONG = [  # what is replaced, by what
    ("lasts: 4 s", "lasts: 4"),
    ("lasts: 4 s", "takes: 4 s"),
    ("scenario: Everything", "note: Everything"),
    ("key: on", "key: maybe"),
    ("winding: 80 degC", "rotor: 80 degC"),
    ("value: 2.6 V, range", "range"),
    ("at: 0 m, slope", "slope"),
    ("at: 0.4 s, throttle", "throttle"),
    ("at: 0.8 s, throttle: 40 %", "at: 0.8 s"),
    ("at: 0.8 s, throttle: 40 %", "at: 0.8 s, throttle: 40 %, brake: on"),
    ("at: 0.8 s, throttle", "at: 0.8 s, when: speed > 1 rpm, throttle"),
    ("at: 0.8 s, throttle", "at: 0.8 s, by: 1 s, throttle"),
    ("at: 0.8 s, throttle", "at: 0.8 s, trottle"),
    ("frequency: 5 Hz", "frequency: 5"),
    (", for: 1 s}}}", "}}}"),
    ("{table: torque.csv}", "{table: torque.csv, sine: {amplitude: 1, frequency: 1 Hz, for: 1 s}}"),
    ("body: winding", "body: rotor"),
    ("fault: hall_line_open", "fault: hall_line_opne"),
    ("probability: 10 %, ", ""),
    (", max: 60 A", ""),
    ("measure: speed_mean", "measures: speed_mean"),
    ("from: parts/hill.yaml", "form: parts/hill.yaml"),
]


def main() -> int:
    program, source = sys.argv[1], pathlib.Path(sys.argv[2])
    printed = subprocess.run([program, "list", "scenario-schema"], check=True, capture_output=True, text=True)
    schema = json.loads(printed.stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    bad = 0

    def valid(text: str) -> bool:
        return validator.is_valid(yaml.safe_load(text))

    shipped = sorted((source / "configs" / "scenarios").glob("*.yaml"))
    assert len(shipped) > 10, "no scenarios found"
    for file in shipped:
        for error in validator.iter_errors(yaml.safe_load(file.read_text())):
            print(f"{file}: {'/'.join(map(str, error.path))}: {error.message}")
            bad += 1
    if not valid(RIGHT):
        for error in validator.iter_errors(yaml.safe_load(RIGHT)):
            print(f"the right one: {'/'.join(map(str, error.path))}: {error.message}")
        bad += 1
    for old, new in WRONG:
        assert RIGHT.count(old) >= 1, old
        if valid(RIGHT.replace(old, new, 1)):
            print(f"not refused: {new!r} in the place of {old!r}")
            bad += 1
    print(f"{len(shipped)} shipped scenarios, {len(WRONG)} wrong ones, {bad} problems")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
