#include "emulator/cycle/open_wires.hpp"

namespace stillrotor {

void require_safe_to_arm(io::WiredController& controller) {
  const io::BenchInputs inputs = controller.bench_inputs();
  if (inputs.stop_circuit == io::Sensed::off)
    throw NotPermitted(
        "The emergency stop's circuit is open; nothing is armed. Release the button; if it is "
        "released, look for a broken wire (the circuit is closed while the bench may run).");
  if (inputs.bus_dead == io::Sensed::off)
    throw NotPermitted(
        "The power stage's bus is not measured dead; nothing is armed. Disconnect the stage's "
        "supply, lock it off, discharge the link and measure it. The bench takes the place of the "
        "power stage and must never run beside a live one.");
}

}  // namespace stillrotor
