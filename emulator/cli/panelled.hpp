// run --panel: a run that people watch and drive on a page.
#pragma once

#include <atomic>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "emulator/bench/bench.hpp"
#include "emulator/cli/panel_options.hpp"
#include "emulator/cycle/latency_histogram.hpp"
#include "emulator/handover/frame.hpp"
#include "emulator/judge/result.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

class LiveControl;

class PanelledRun {
 public:
  /// Serves from here on, and says where on stderr. Bench and scenario outlive it. Throws
  /// InputError, std::runtime_error: nothing can be served there.
  PanelledRun(const PanelRequest&, const Bench&, const Scenario&, const RecordHeader&, bool paced);
  ~PanelledRun();
  PanelledRun(const PanelledRun&) = delete;
  PanelledRun& operator=(const PanelledRun&) = delete;

  /// Between the run and its record; as long as the run goes on.
  RunSink& in_front_of(RunSink& record);
  LiveControl& control();
  /// Of the cycle; not from it.
  void lateness(const LatencyHistogram& wake);

  /// The run is over. Writes what was driven into its folder, if anything was.
  void ended(const std::filesystem::path& folder, const Integrity&);
  void judged(std::string_view verdict, std::string_view reason);
  void report(std::string html);
  void failed(std::string_view why);
  /// As long as somebody looks, and some seconds for whoever comes back; or until `stop`.
  void serve(const std::atomic<bool>& stop);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace stillrotor
