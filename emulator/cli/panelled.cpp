// With the panel built in, see panelled_without.cpp.
#include "emulator/cli/panelled.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <nlohmann/json.hpp>
#include <thread>
#include <variant>

#include "emulator/bench/input_error.hpp"
#include "emulator/budget/budget.hpp"
#include "emulator/budget/link_budget.hpp"
#include "emulator/budget/routes.hpp"
#include "emulator/cli/panel_door.hpp"
#include "emulator/cli/run_folder.hpp"
#include "emulator/live/driven_scenario.hpp"
#include "emulator/live/live_control.hpp"
#include "emulator/panel/live_run.hpp"
#include "emulator/panel/server.hpp"

namespace stillrotor {
namespace {

using Clock = std::chrono::steady_clock;
using namespace std::chrono_literals;

/// After the last one has left: a page that is loaded again is back within that.
constexpr auto grace = 5s;

/// As `check` has them; none where no wires are asked for anything.
std::vector<BudgetRow> budget_rows(const Bench& bench) {
  Budget sum;
  if (std::optional<Routes> routes = declared_routes(bench.backend, bench)) {
    if (bench.calibration) routes->lines = measured_lines(routes->lines, *bench.calibration);
    sum = budget(bench, *routes);
  } else if (const auto* link = std::get_if<io::LinkConfig>(&bench.controller)) {
    sum = link_budget(bench, *link, declared_stamps(*link));
  }
  std::vector<BudgetRow> rows;
  for (const Demand& d : sum.demands)
    rows.push_back({d.signal, fmt::format("{:.4g} {}", d.demand, d.unit),
                    fmt::format("{:.4g} {}", d.limit, d.unit), d.fits,
                    d.fits ? d.fits_up_to
                           : fmt::format("{}. Instead: {}. (Limit: {}.)", d.consequence, d.remedy,
                                         d.grounds)});
  return rows;
}

}  // namespace

struct PanelledRun::Impl {
  LiveControl control;
  DrivenScenario driven;
  PanelTap tap;
  std::shared_ptr<LiveRun> run;
  std::unique_ptr<PanelServer> server;

  Impl(const PanelRequest& request, const Bench& bench, const Scenario& scenario,
       const RecordHeader& header, bool paced)
      : control(header.clock == "virtual"),
        driven(bench, scenario, control),
        tap(header.initial_lines_high),
        run(std::make_shared<LiveRun>(LiveRun::Parts{tap, control, driven},
                                      PanelStore(header.rate_Hz, header.initial_lines_high),
                                      connected_lines(bench),
                                      live_welcome(bench, scenario,
                                                   {.on_wall_clock = header.clock == "wall",
                                                    .paced = paced,
                                                    .machine = header.machine,
                                                    .budgets = budget_rows(bench)}))) {
    PanelServer::Shows shows;
    shows.run = run;
    shows.driven = run.get();
    shows.take_in = [live = run.get()](Panel& panel, Clock::time_point now) {
      return live->take_in(panel.looker(), now);
    };
    server = open_panel(request, std::move(shows));
    if (request.start_now) control.start();
  }
};

PanelledRun::PanelledRun(const PanelRequest& request, const Bench& bench, const Scenario& scenario,
                         const RecordHeader& header, bool paced)
    : impl_(std::make_unique<Impl>(request, bench, scenario, header, paced)) {}
PanelledRun::~PanelledRun() = default;

RunSink& PanelledRun::in_front_of(RunSink& record) {
  impl_->tap.in_front_of(record);
  return impl_->tap;
}

LiveControl& PanelledRun::control() { return impl_->control; }

void PanelledRun::lateness(const LatencyHistogram& wake) {
  const auto us = [&](double share) { return 1e-3 * static_cast<double>(wake.quantile_ns(share)); };
  const PanelLateness late{us(0.5), us(0.99), us(0.999), 1e-3 * static_cast<double>(wake.max_ns())};
  impl_->run->tell([&](RunNews& news) { news.lateness = late; });
}

void PanelledRun::ended(const std::filesystem::path& folder, const Integrity& integrity) {
  impl_->run->tell([&](RunNews& news) {
    news.deadline_misses = integrity.deadline_misses;
    news.lost_edges = integrity.lost_edges;
    news.late_writes = integrity.late_writes;
  });
  if (const std::string driven = impl_->run->driven_yaml(); !driven.empty()) {
    write_file(folder / driven_scenario_name, driven);
    impl_->run->tell([&](RunNews& news) { news.saved = driven_scenario_name; });
  }
}

void PanelledRun::judged(std::string_view verdict, std::string_view reason) {
  impl_->run->tell([&](RunNews& news) {
    if (!verdict.empty()) news.verdict = verdict;
    news.reason = reason;
  });
}

void PanelledRun::report(std::string html) {
  impl_->run->tell([&](RunNews& news) { news.report_html = std::move(html); });
}

void PanelledRun::failed(std::string_view why) {
  impl_->run->tell([&](RunNews& news) { news.problem = why; });
}

void PanelledRun::serve(const std::atomic<bool>& stop) {
  if (impl_->server->watchers() > 0)
    fmt::print(stderr, "panel: still served while somebody looks; Ctrl-C ends it\n");
  wait_for_watchers(*impl_->server, grace, stop);
}

}  // namespace stillrotor
