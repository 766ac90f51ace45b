"""Record inputs_recorded.bin anew: the first minutes of the demonstration drive on the twin.

    .venv/bin/python -m tests.data.record_inputs
"""

from pathlib import Path

from host_sim.twin.input_recording import InputRecording
from host_sim.twin.scenario import DEMO, load_scenario
from host_sim.twin.twin import Twin

TICKS = 6000  # five minutes, with a headland and the clock's wrap
RECORDED = Path(__file__).parent / "inputs_recorded.bin"


def main():
    """Drive once and write the file."""
    scenario = load_scenario(DEMO)
    recording = InputRecording(scenario.settings)

    def keep(inputs, request, now_us):
        if len(recording) < TICKS:
            recording.add(inputs, request, now_us)

    Twin(scenario, input_sink=keep).run()
    recording.write(RECORDED)


if __name__ == "__main__":
    main()
