#include "emulator/cli/run_facts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <variant>

#include "emulator/cli/program.hpp"
#include "emulator/cli/replay_trust.hpp"
#include "emulator/cli/run_folder.hpp"
#include "emulator/faults/catalogue.hpp"
#include "emulator/virtual_time/virtual_run.hpp"

namespace stillrotor {
namespace {

std::optional<RecordedMachine> recorded_machine(const plant::DriveParameters& drive) {
  const plant::PermanentMagnetParameters& m = drive.machine;
  const double* r = m.resistance_factor;
  const bool constant = !drive.induction && m.flux_map.empty() && m.equal_turns() &&
                        m.turns_factor[0] == 1.0 && r[0] == r[1] && r[1] == r[2];
  if (!constant) return {};
  const plant::PermanentMagnetParameters star = plant::equivalent_star(m);
  return RecordedMachine{star.winding_resistance_ohm * r[0],
                         star.inductance_d_H,
                         star.inductance_q_H,
                         star.flux_linkage_Wb,
                         m.reference_temperature_K,
                         m.winding_temperature_coefficient_per_K};
}

RecordedLosses recorded_losses(const plant::DriveParameters& drive) {
  const plant::SwitchingEnergies& e = drive.bridge.switching;
  return {.rotor = drive.induction.has_value(),
          .iron = !drive.induction && drive.machine.iron_loss.reference_W > 0.0,
          .switching = e.on_J + e.off_J + e.recovery_J + drive.bridge.output_capacitance_F > 0.0};
}

std::string firmware_sha256(const Bench& bench) {
  if (const auto* mcu = std::get_if<io::McuConfig>(&bench.controller))
    return file_sha256(mcu->firmware);
  if (const auto* host = std::get_if<io::HostFirmwareConfig>(&bench.controller))
    return file_sha256(host->firmware);
  return {};
}

}  // namespace

RecordHeader record_header(const Bench& bench, const Scenario& scenario, const Tested& tested) {
  RecordHeader header;
  header.bench = bench.name;
  header.scenario = scenario.name;
  header.clock = tested.wired() != nullptr ? "wall" : "virtual";
  header.rate_Hz = bench.record_rate_Hz;
  header.pole_pairs = bench.drive.pole_pairs();
  header.machine = recorded_machine(bench.drive);
  header.losses = recorded_losses(bench.drive);
  const auto high = tested.simulated() != nullptr
                        ? initial_lines_high(bench, scenario, *tested.simulated())
                        : initial_lines_high(bench, scenario);
  std::copy(high.begin(), high.end(), header.initial_lines_high);
  return header;
}

Integrity integrity(const RunFacts& run) {
  Integrity found;
  found.lost_edges = run.record.lost + run.record.lost_edges;
  if (run.rehearsal) found.lost_edges += run.rehearsal->outcome.wires.lost_edges;
  if (!run.cycle) return found;
  found.deadline_misses = run.cycle->counts.missed_periods;
  found.late_writes = run.cycle->counts.late_writes;
  found.lost_edges += run.cycle->wires.lost_edges + run.cycle->dropped.edges;
  return found;
}

ResultFacts result_facts(const Bench& bench, const Scenario& scenario, const Tested& tested,
                         const RunFacts& run) {
  ResultFacts facts;
  facts.bench = bench.name;
  facts.scenario = scenario.name;
  facts.clock = run.cycle ? "wall" : "virtual";
  facts.integrity = integrity(run);
  facts.overrides = bench.overrides;
  for (const std::string& one : scenario.overrides) facts.overrides.push_back("scenario " + one);
  facts.seeds = {{"scenario", scenario.seed}};
  for (const Fault* fault : fault_catalogue())
    if (is_possible(*fault, bench)) facts.possible_faults.emplace_back(fault->name);
  if (tested.simulated() != nullptr) facts.replay_trust = replay_trust(bench, *tested.simulated());
  if (run.rehearsal) {
    const RehearsedRoute& route = run.rehearsal->route;
    facts.rehearsal = {route.asked, described(route), route.lines.grounds};
  }
  if (tested.simulated() != nullptr) facts.settings = tested.simulated()->settings();
  if (!facts.settings.empty()) facts.settings_sha256 = text_sha256(settings_text(facts.settings));
  facts.firmware_sha256 = firmware_sha256(bench);
  facts.signals_xxh128 = run.record.signals_xxh128;
  facts.software_version = software_version();
  facts.software_commit = software_commit();
  return facts;
}

}  // namespace stillrotor
