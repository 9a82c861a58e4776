#include "emulator/cli/run_document.hpp"

#include <sys/utsname.h>

#include <array>
#include <fstream>
#include <nlohmann/json.hpp>
#include <thread>

#include "emulator/cli/program.hpp"
#include "emulator/cli/run_folder.hpp"

namespace stillrotor {
namespace {

using Json = nlohmann::ordered_json;

std::string cpu_name() {
  std::ifstream info("/proc/cpuinfo");
  for (std::string line; std::getline(info, line);) {
    const auto colon = line.find(": ");
    if (line.starts_with("model name") && colon != std::string::npos) return line.substr(colon + 2);
  }
  return "unknown";
}

bool realtime_kernel() {
  std::ifstream flag("/sys/kernel/realtime");
  int value = 0;
  return (flag >> value) && value == 1;
}

Json host() {
  utsname kernel{};
  uname(&kernel);
  return {{"cpu", cpu_name()},
          {"cores", std::thread::hardware_concurrency()},
          {"kernel", std::string(kernel.sysname) + " " + kernel.release},
          {"realtime", realtime_kernel()}};
}

std::string_view name(io::Health health) {
  switch (health) {
    case io::Health::running:
      return "running";
    case io::Health::exited:
      return "exited";
    case io::Health::crashed:
      return "crashed";
    case io::Health::hung:
      return "hung";
  }
  return "unknown";
}

double us(std::int64_t ns) { return static_cast<double>(ns) * 1e-3; }

Json spread_us(const LatencyHistogram& histogram) {
  return {{"p50", us(histogram.quantile_ns(0.5))},
          {"p99", us(histogram.quantile_ns(0.99))},
          {"p99_9", us(histogram.quantile_ns(0.999))},
          {"p99_99", us(histogram.quantile_ns(0.9999))},
          {"max", us(histogram.max_ns())}};
}

Json leg_json(const LegPwm& leg) {
  if (!leg.known) return {{"pulses", leg.pulses}};
  constexpr std::array alignments{"centre", "rise", "fall"};
  return {{"pulses", leg.pulses},
          {"period_us", 1e6 * leg.period_s},
          {"aligned", alignments[static_cast<std::size_t>(leg.alignment)]},
          {"jitter_us", 1e6 * leg.jitter_s},
          {"missing", leg.missing},
          {"resting", leg.resting},
          {"pauses", leg.pauses}};
}

Json gates_json(const GateReport& gates) {
  const auto time_us = [](io::Time t) { return 1e-6 * static_cast<double>(t.count()); };
  const CleaningCounts& cleaning = gates.cleaning;
  return {{"hold_us", time_us(gates.hold)},
          {"averaged", gates.averaged},
          {"filter_us", gates.filter_s ? Json(1e6 * *gates.filter_s) : Json(nullptr)},
          {"averaged_dropped", gates.dropped},
          {"overlaps_repaired", cleaning.repaired},
          {"longest_repaired_us", time_us(cleaning.longest_repaired)},
          {"overlaps_real", cleaning.real},
          {"longest_real_us", time_us(cleaning.longest_real)},
          {"late", cleaning.late},
          {"unjudged", cleaning.crowded},
          {"jitter_us", 1e6 * gates.jitter_s},
          {"legs",
           {{"U", leg_json(gates.legs[0])},
            {"V", leg_json(gates.legs[1])},
            {"W", leg_json(gates.legs[2])}}}};
}

Json far_plant_json(const CycleReport::FarPlant& far) {
  const io::LinkStatus& link = far.link;
  const MirrorReport& mirror = far.mirror;
  return {{"link",
           {{"frames", link.frames},
            {"missed_frames", link.missed_frames},
            {"dropped_frames", link.dropped_frames},
            {"spoilt_frames", link.spoilt_frames},
            {"edges", link.edges},
            {"lost_edges", link.lost_edges},
            {"reports", link.reports},
            {"lost_reports", link.lost_reports},
            {"silences", link.silences},
            {"resets", link.resets},
            {"refusals", link.refusals},
            {"falls", link.falls},
            {"drift_ppm", 1e6 * link.drift},
            {"least_round_trip_us", 1e-3 * link.least_round_trip_ns}}},
          {"chip",
           {{"tick_MHz", 1e-6 * link.chip.tick_Hz},
            {"resolution_ns", 1e-3 * link.chip.resolution_ps},
            {"jitter_ns", 1e-3 * link.chip.jitter_ps}}},
          {"mirror",
           {{"corrections", mirror.corrections},
            {"missed", mirror.missed},
            {"distrusted", mirror.distrusted},
            {"worst_A", mirror.worst_A},
            {"rms_A", mirror.rms_A},
            {"worst_bus_V", mirror.worst_bus_V},
            {"worst_angle_rad", mirror.worst_angle_rad}}}};
}

Json cycle_json(const CycleReport& cycle) {
  Json missing = Json::array();
  for (const MissingRight& right : cycle.missing_rights) missing.push_back(right.what);
  const CycleSettings& settings = cycle.settings;
  const CycleCounts& counts = cycle.counts;
  return {{"period_us", 1e6 * settings.period_s},
          {"delay_us", 1e6 * settings.delay_s},
          {"spin_us", 1e6 * settings.spin_s},
          {"priority", settings.priority},
          {"core", settings.core < 0 ? Json(nullptr) : Json(settings.core)},
          {"soft", !cycle.missing_rights.empty()},
          {"missing_rights", missing},
          {"short_idle", cycle.short_idle},
          {"ended", reason(cycle.end)},
          {"turns", counts.turns},
          {"missed_periods", counts.missed_periods},
          {"late_writes", counts.late_writes},
          {"wake_late_us", spread_us(counts.wake)},
          {"turn_us", spread_us(counts.turn)},
          {"read_us", spread_us(counts.read)},
          {"plant_us", spread_us(counts.plant)},
          {"write_us", spread_us(counts.write)},
          {"page_faults", {{"minor", cycle.use.minor_faults}, {"major", cycle.use.major_faults}}},
          {"context_switches",
           {{"voluntary", cycle.use.voluntary_switches},
            {"involuntary", cycle.use.involuntary_switches}}},
          {"wires",
           {{"edges", cycle.wires.edges},
            {"lost_edges", cycle.wires.lost_edges},
            {"gaps", cycle.wires.gaps},
            {"late_stamps", cycle.wires.late_stamps},
            {"failed_writes", cycle.wires.failed_writes},
            {"transfers", cycle.wires.transfers},
            {"failed_transfers", cycle.wires.failed_transfers},
            {"late_transfers", cycle.wires.late_transfers},
            {"longest_transfer_us", us(cycle.wires.longest_transfer_ns)},
            {"cut_volts", cycle.wires.cut_volts}}},
          {"gates", gates_json(cycle.gates)},
          {"co_processor", cycle.far_plant ? far_plant_json(*cycle.far_plant) : Json(nullptr)},
          {"record_dropped",
           {{"frames", cycle.dropped.frames},
            {"edges", cycle.dropped.edges},
            {"marks", cycle.dropped.marks}}}};
}

Json workload_json(const io::mcu::Workload& work) {
  Json interrupts = Json::array();
  for (const io::mcu::InterruptLoad& one : work.interrupts)
    interrupts.push_back({{"exception", one.number},
                          {"handler", one.name},
                          {"count", one.count},
                          {"cycles",
                           {{"least", one.least},
                            {"mean", static_cast<double>(one.sum) / static_cast<double>(one.count)},
                            {"most", one.greatest},
                            {"sum", one.sum}}}});
  return {
      {"cycles", work.cycles},
      {"in_handlers", work.in_handlers},
      {"asleep", work.asleep},
      {"interrupts", interrupts},
      {"main_stack_bytes",
       {{"seen", work.stack_seen}, {"written", work.stack_written}, {"room", work.stack_room}}}};
}

}  // namespace

std::string run_json(const RunFacts& facts) {
  const RunOutcome& outcome = facts.outcome;
  const double model_s = static_cast<double>(outcome.end_ps) / 1e12;
  Json document = {
      {"format", 1},
      {"started", facts.started_utc},
      {"ended", utc_now("%Y-%m-%dT%H:%M:%SZ")},
      {"interrupted", outcome.interrupted},
      {"host", host()},
      {"software", {{"version", software_version()}, {"commit", software_commit()}}},
      {"paths",
       {{"bench", std::filesystem::absolute(facts.bench).string()},
        {"scenario", std::filesystem::absolute(facts.scenario).string()},
        {"folder", std::filesystem::absolute(facts.folder).string()}}},
      {"speed",
       {{"model_s", model_s},
        {"loop_cpu_s", outcome.loop_cpu_s},
        {"wall_s", outcome.wall_s},
        {"recording", true}}},
      {"keeping", facts.keeping.around_events ? Json{{"before_s", facts.keeping.before_s},
                                                     {"after_s", facts.keeping.after_s}}
                                              : Json("everything")},
      {"counts",
       {{"gate_edges", outcome.gate_edges},
        {"late_gate_edges", outcome.late_gate_edges},
        {"sensor_edges", outcome.sensor_edges},
        {"frames", facts.record.frames},
        {"marks", facts.record.marks}}},
      {"plant",
       {{"forced_steps", outcome.plant.forced_steps},
        {"inconsistent_modes", outcome.plant.inconsistent_modes},
        {"outside_flux_map_s", outcome.plant.outside_map_s},
        {"magnet_flux_left", outcome.magnet_left}}},
      {"controller", {{"health", name(outcome.controller)}, {"diagnosis", outcome.diagnosis}}}};
  if (const auto& rehearsal = facts.rehearsal)
    document["rehearsal"] = {{"route", rehearsal->route.asked},
                             {"imposed", described(rehearsal->route)},
                             {"lost_edges", rehearsal->outcome.gone},
                             {"told_as_lost", rehearsal->outcome.wires.lost_edges},
                             {"gates", gates_json(rehearsal->outcome.gates)}};
  if (facts.workload) document["processor"] = workload_json(*facts.workload);
  if (facts.cycle) document["cycle"] = cycle_json(*facts.cycle);
  return document.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace stillrotor
