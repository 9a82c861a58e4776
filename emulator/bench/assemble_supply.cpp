// From the draft to the bench: supply, contactor and chopper.
#include <algorithm>

#include "emulator/bench/assembly.hpp"
#include "emulator/bench/pairs.hpp"

namespace stillrotor {
namespace {

class SupplyAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    auto& supply = d_.bench.drive.supply;
    const bool battery = d_.supply_kind == 0;
    supply.kind = battery ? plant::SupplyKind::battery : plant::SupplyKind::bench_supply;
    derive("supply.protection.fitted", supply.protection.fitted, mentioned("supply.protection"));
    only_for_its_kind(battery);
    curves();
    resistance();
    voltage();
    derive("supply.current_limit", supply.current_limit_A, unlimited_A);
    derive("supply.current_loop", supply.current_loop_Hz, supply.voltage_loop_Hz);
    loops();
    protection();
    path();
  }

 private:
  static constexpr double unlimited_A = 1e9;

  void only_for_its_kind(bool battery) {
    for (const char* path : {"supply.current_limit", "supply.fold_back", "supply.voltage_loop",
                             "supply.current_loop", "supply.latch_above"})
      if (battery && readings_.given(path) && changes_something(path))
        refuse(path, "a battery", "bench_supply");
    for (const char* path : {"supply.open_circuit", "supply.branches",
                             "supply.resistance_over_temperature", "supply.protection.fitted"})
      if (!battery && readings_.given(path) && changes_something(path))
        refuse(path, "a bench supply", "battery");
    if (!battery && d_.bench.drive.supply.protection.fitted &&
        !readings_.given("supply.protection.fitted"))
      refuse("supply.protection.fitted", "a bench supply", "battery");
  }

  /// A resolved file says everything; what it says without effect is no mistake.
  bool changes_something(std::string_view path) const {
    const auto& supply = d_.bench.drive.supply;
    if (path == "supply.current_limit") return supply.current_limit_A < unlimited_A;
    if (path == "supply.voltage_loop") return supply.voltage_loop_Hz > 0.0;
    if (path == "supply.current_loop") return supply.current_loop_Hz > 0.0;
    if (path == "supply.protection.fitted") return supply.protection.fitted;
    return true;
  }

  void refuse(const char* path, std::string_view kind, std::string_view other) {
    wrong(path, fmt::format("{} does not apply to {}; allowed with kind: {}. Remove it, or change "
                            "the kind.",
                            path, kind, other));
  }

  void curves() {
    auto& battery = d_.bench.drive.supply.battery;
    std::string problem;
    for (const auto& [charge, volts] :
         read_pairs(d_.open_circuit, Family::ratio, Family::voltage, problem)) {
      if (charge < 0.0 || charge > 1.0)
        problem = fmt::format("a charge of {:g} %; allowed 0 % to 100 %", 100.0 * charge);
      else if (!battery.open_circuit_V.empty() && (charge <= battery.open_circuit_V.back().x ||
                                                   volts < battery.open_circuit_V.back().y))
        problem = "charge or voltage falls; allowed only rising charge, never falling voltage";
      battery.open_circuit_V.push_back({charge, volts});
    }
    if (problem.empty() && battery.open_circuit_V.size() == 1)
      problem = "one point only; allowed two or more";
    if (!problem.empty()) {
      battery.open_circuit_V.clear();
      wrong(
          "supply.open_circuit",
          fmt::format("supply.open_circuit: {}. Write it as {{0 %: 42 V, 100 %: 54 V}}.", problem));
    }
    problem.clear();
    const auto pairs = read_pairs(d_.branches, Family::resistance, Family::time, problem);
    if (pairs.size() > battery.branch.size())
      problem = fmt::format("{} pairs; allowed up to {}", pairs.size(), battery.branch.size());
    for (std::size_t k = 0; k < std::min(pairs.size(), battery.branch.size()); ++k) {
      const auto& [ohm, seconds] = pairs[k];
      if (ohm <= 0.0 || seconds < 1e-3 || seconds > 1e5)
        problem = fmt::format("{:g} ohm: {:g} s; allowed above 0 ohm with 1 ms to 100000 s", ohm,
                              seconds);
      battery.branch[k] = {ohm, seconds};
    }
    if (problem.empty()) return;
    battery.branch = {};
    wrong("supply.branches",
          fmt::format("supply.branches: {}. Write them as {{8 mohm: 0.5 s, 5 mohm: 20 s}}.",
                      problem));
  }

  void resistance() {
    auto& share = d_.bench.drive.supply.battery.resistance_share;
    std::string problem;
    for (const auto& [kelvin, times] :
         read_pairs(d_.resistance_over_temperature, Family::temperature, Family::ratio, problem)) {
      if (times <= 0.0 || (!share.empty() && kelvin <= share.back().x))
        problem =
            "a share of 0 or less, or a falling temperature; allowed shares above 0, rising "
            "temperatures";
      share.push_back({kelvin, times});
    }
    if (problem.empty()) return;
    share.clear();
    wrong("supply.resistance_over_temperature",
          fmt::format("supply.resistance_over_temperature: {}. Write it as {{-10 degC: 2.1, "
                      "25 degC: 1}}.",
                      problem));
  }

  void voltage() {
    auto& supply = d_.bench.drive.supply;
    Reading& voltage = readings_.at("supply.voltage");
    const auto& curve = supply.battery.open_circuit_V;
    const bool given = voltage.state == Reading::State::given;
    if (!curve.empty()) {
      supply.voltage_V = plant::on_curve(curve, supply.battery.charge);
      voltage.state = Reading::State::shown;
      if (given)
        wrong("supply.voltage",
              "supply.voltage does not apply beside supply.open_circuit, which says it for every "
              "charge; allowed one of them. Remove it.");
    } else if (!given && d_.open_circuit.empty()) {
      wrong("supply.voltage",
            "supply.voltage is missing; allowed 0 V to 2000 V. What it is: open-circuit or set "
            "voltage.");
    }
  }

  void loops() {
    const auto& supply = d_.bench.drive.supply;
    if ((supply.voltage_loop_Hz > 0.0) != (supply.current_loop_Hz > 0.0))
      wrong("supply.current_loop",
            "supply.current_loop and supply.voltage_loop are ideal (0 Hz) both or not at all. Give "
            "both a bandwidth.");
    if (supply.voltage_loop_Hz > 0.0 && supply.current_limit_A >= unlimited_A)
      wrong("supply.voltage_loop",
            "supply.voltage_loop needs supply.current_limit, which sets the load of its current "
            "loop. Give the limit.");
    if (supply.fold_back_A > supply.current_limit_A)
      wrong("supply.fold_back",
            fmt::format("supply.fold_back is {:g} A and supply.current_limit is {:g} A; allowed up "
                        "to the limit. Lower it.",
                        supply.fold_back_A, supply.current_limit_A));
    else if (supply.fold_back_A >= 0.0 &&
             supply.resistance_ohm * (supply.current_limit_A - supply.fold_back_A) >=
                 supply.voltage_V)
      wrong("supply.fold_back",
            "supply.fold_back lets the limit fall faster than the output's own line, voltage / "
            "resistance: no point of operation. Raise it, or lower current_limit or resistance.");
  }

  void protection() {
    auto& board = d_.bench.drive.supply.protection;
    if (!readings_.given("supply.protection.over_voltage.release"))
      board.over_voltage.release_V = board.over_voltage.trip_V;
    if (!readings_.given("supply.protection.under_voltage.release"))
      board.under_voltage.release_V = board.under_voltage.trip_V;
    if (board.over_voltage.release_V > board.over_voltage.trip_V)
      wrong("supply.protection.over_voltage.release",
            "supply.protection.over_voltage.release lies above its trip; allowed up to it. Swap "
            "them.");
    if (board.under_voltage.release_V < board.under_voltage.trip_V)
      wrong("supply.protection.under_voltage.release",
            "supply.protection.under_voltage.release lies below its trip; allowed from it on. Swap "
            "them.");
  }

  void path() {
    auto& drive = d_.bench.drive;
    derive("contactor.fitted", drive.contactor.fitted, mentioned("contactor"));
    d_.bench.key_closes_contactor = d_.contactor_driven_by == 0;
    auto& chopper = drive.chopper;
    const bool has_chopper = chopper.resistance_ohm > 0.0;
    chopper.by_itself = has_chopper && d_.chopper_driven_by == 0;
    derive("chopper.on_above", chopper.on_V, 1.2 * drive.supply.voltage_V);
    derive("chopper.off_below", chopper.off_V, 0.95 * chopper.on_V);
    const bool by_standin = has_chopper && d_.backend == 1;
    if (!chopper.by_itself && !by_standin) return;
    const double kept =
        chopper.resistance_ohm / (chopper.resistance_ohm + drive.dc_link.series_resistance_ohm);
    if (chopper.off_V <= 0.0 || chopper.off_V >= chopper.on_V * kept)
      wrong("chopper.off_below",
            fmt::format("chopper.off_below is {:g} V; allowed above 0 V, below {:g} V, which "
                        "on_above falls to by the link's resistance when the chopper turns on. "
                        "Lower it.",
                        chopper.off_V, chopper.on_V * kept));
  }
};

}  // namespace

void assemble_supply(Readings& readings, Draft& draft, Problems& problems) {
  SupplyAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
