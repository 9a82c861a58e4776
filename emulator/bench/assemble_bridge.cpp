// From the draft to the bench: bridge and gate driver.
#include "emulator/bench/assembly.hpp"

namespace stillrotor {
namespace {

class BridgeAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    const bool igbt = d_.switch_kind == 1;
    d_.bench.drive.bridge.switch_kind = igbt ? plant::SwitchKind::igbt : plant::SwitchKind::mosfet;
    if (!igbt && readings_.given("bridge.switch_knee") &&
        d_.bench.drive.bridge.switch_knee_V != 1.0)
      wrong("bridge.switch_knee",
            "bridge.switch_knee does not apply to a mosfet; allowed with switch_kind: igbt. Remove "
            "it, or change the kind.");
    delays();
    supplies();
  }

 private:
  void delays() {
    plant::GateDriverParameters& driver = d_.bench.drive.gate_driver;
    constexpr const char* gates[] = {"UH", "UL", "VH", "VL", "WH", "WL"};
    for (std::size_t k = 0; k < 6; ++k) {
      driver.on_delay_s[k] = within(fmt::format("bridge.driver.on_skew.{}", gates[k]),
                                    d_.driver_on_delay_s + d_.driver_on_skew_s[k]);
      driver.off_delay_s[k] = within(fmt::format("bridge.driver.off_skew.{}", gates[k]),
                                     d_.driver_off_delay_s + d_.driver_off_skew_s[k]);
    }
  }

  double within(const std::string& path, double delay_s) {
    if (delay_s < 0.0 || delay_s > 10e-6)
      wrong(path,
            fmt::format("{} makes the delay {:g} ns; allowed 0 to 10000 ns in all. Change it, "
                        "or the delay of all lines.",
                        path, delay_s * 1e9));
    return delay_s;
  }

  void supplies() {
    const plant::GateDriverParameters& driver = d_.bench.drive.gate_driver;
    const plant::BootstrapParameters& b = driver.bootstrap;
    const double held_V = driver.supply_V - b.diode_voltage_V - b.quiescent_A * b.resistance_ohm;
    const double needed_V = b.undervoltage_V + b.hysteresis_V;
    if (b.capacitance_F > 0.0 && held_V <= needed_V)
      wrong(
          "bridge.driver.bootstrap.undervoltage",
          fmt::format("the bootstrap supplies reach {:.3g} V at most, and a high switch waits for "
                      "{:.3g} V; allowed only below what they reach. Raise "
                      "bridge.driver.supply, or lower bootstrap.undervoltage.",
                      held_V, needed_V));
  }
};

}  // namespace

void assemble_bridge(Readings& readings, Draft& draft, Problems& problems) {
  BridgeAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
