// A run that a second thread drives, and the scenario that is saved of it: the same bytes.
#include <gtest/gtest.h>

#include <chrono>
#include <filesystem>
#include <string>
#include <thread>

#include "emulator/live/driven_scenario.hpp"
#include "tests/emulator/bench/support.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using namespace std::chrono_literals;
namespace fs = std::filesystem;

const fs::path configs = fs::path(STILLROTOR_SOURCE_DIR) / "configs";

/// What came out of a run, to the byte, in little room: FNV-1a.
class HashingSink : public RunSink {
 public:
  void frame(const Frame& f) noexcept override {
    take(frames_, &f, sizeof f);
    ++frame_count;
  }
  void edge(const LineEdge& e) noexcept override {
    take(edges_, &e.at_ps, sizeof e.at_ps);
    take(edges_, &e.line, sizeof e.line);
    take(edges_, &e.level, sizeof e.level);
    ++edge_count;
  }
  void mark(MarkKind kind, std::int64_t at_ps, std::string_view name, std::string_view detail,
            std::int64_t) noexcept override {
    marks.push_back(std::to_string(static_cast<int>(kind)) + " " + std::to_string(at_ps) + " " +
                    std::string(name) + ": " + std::string(detail));
  }
  std::uint64_t frames() const { return frames_; }
  std::uint64_t edges() const { return edges_; }

  std::uint64_t frame_count = 0, edge_count = 0;
  std::vector<std::string> marks;

 private:
  static void take(std::uint64_t& hash, const void* from, std::size_t bytes) {
    for (const auto* p = static_cast<const unsigned char*>(from); bytes > 0; ++p, --bytes)
      hash = (hash ^ *p) * 1099511628211U;
  }
  std::uint64_t frames_ = 14695981039346656037U, edges_ = frames_;
};
static_assert(sizeof(Frame) ==
              8 + 4 * (signal_count + 2 * spread_count));  // no bytes that nobody has set

/// Offers something at every frame, for moments so near that the loop takes some and not others.
class InstantDriver final : public HashingSink {
 public:
  InstantDriver(LiveControl& control, std::int64_t until_ps)
      : control_(control), until_ps_(until_ps) {}

  void frame(const Frame& f) noexcept override {
    HashingSink::frame(f);
    const LiveControl::Answer answer = control_.answer();
    if (answer == LiveControl::Answer::taken) taken.push_back(offered_);
    if (answer == LiveControl::Answer::late) ++late;
    if (f.at_ps >= until_ps_ || control_.offered() != nullptr) return;
    const int turn = turn_++;
    const std::int64_t at_ps = f.at_ps + turn * 7 % 1200 * us;
    if (!taken.empty() && at_ps < taken.back().at_ps) return;
    const int round = turn / 4;
    const Action all[] = {action(at_ps, ActionKind::slope, 0.01 * (round % 7)),
                          action(at_ps, ActionKind::throttle, 1.5 + 0.1 * (round % 5), 20 * ms),
                          action(at_ps, ActionKind::brake, round % 8 == 0 ? 1.0 : 0.0),
                          action(at_ps, ActionKind::key, round % 20 == 9 ? 0.0 : 1.0)};
    offered_ = all[turn % 4];
    EXPECT_TRUE(control_.offer(std::make_unique<const Action>(offered_)));
  }

  std::vector<Action> taken;
  int late = 0;

 private:
  LiveControl& control_;
  std::int64_t until_ps_;
  Action offered_;
  int turn_ = 0;
};

/// The person: acts when the run has come so far.
class Driver {
 public:
  Driver(const Bench& bench, const Scenario& scenario, LiveControl& control)
      : control_(control), driven_(bench, scenario, control) {}

  void wait_for(const std::function<bool()>& what) {
    for (const auto end = std::chrono::steady_clock::now() + 200s;
         !what() && std::chrono::steady_clock::now() < end;)
      std::this_thread::sleep_for(200us);
    EXPECT_TRUE(what());
  }
  void wait_until(std::int64_t at_ps) {
    wait_for([&] { return control_.now_ps() >= at_ps || control_.phase() == LivePhase::ended; });
  }
  void act(std::vector<DrivenWord> words) {
    driven_.act(std::move(words));
    std::vector<DrivenScenario::Settled> settled;
    wait_for([&] {
      if (settled.empty()) settled = driven_.settled();
      return !settled.empty();
    });
    ASSERT_EQ(settled.size(), 1U);
    EXPECT_TRUE(settled[0].done) << settled[0].why;
  }
  void pause() {
    control_.pause();
    wait_for([&] { return control_.phase() == LivePhase::paused; });
  }
  /// How far the run has gone in it.
  std::int64_t step(std::int64_t by_ps) {
    const std::int64_t from_ps = control_.now_ps();
    EXPECT_TRUE(control_.step(by_ps));
    wait_for([&] { return control_.now_ps() >= from_ps + by_ps; });
    std::this_thread::sleep_for(20ms);  // it does not go farther
    return control_.now_ps() - from_ps;
  }
  void resume() {
    control_.resume();
    wait_for([&] { return control_.phase() != LivePhase::paused; });
  }
  const DrivenScenario& driven() const { return driven_; }

 private:
  LiveControl& control_;
  DrivenScenario driven_;
};

class LiveRun : public testing::Test {
 protected:
  LiveRun() : bench_(load_bench(configs / "benches/orchard-cart-mid.yaml", {}, "/none")) {}

  Scenario load(const std::string& text) {
    return load_scenario(folder_.write("driven.yaml", text), bench_);
  }
  RunOutcome run(const Scenario& scenario, RunSink& sink, RunOptions options = {}) {
    const auto controller = io::make_controller(bench_.controller);
    return run_virtual(bench_, scenario, *controller, sink, options);
  }

  /// Runs `scenario`, driven by `person`; then what is saved of it, and expects the same.
  void expect_the_same_again(const Scenario& scenario, bool paced,
                             const std::function<void(Driver&, LiveControl&)>& person) {
    LiveControl control(true);
    Driver driver(bench_, scenario, control);
    std::thread thread([&] {
      person(driver, control);
      control.stop();
    });
    HashingSink first, second;
    RunOptions options;
    options.pace_wall = paced;
    options.live = &control;
    const RunOutcome outcome = run(scenario, first, options);
    thread.join();
    EXPECT_TRUE(outcome.stopped);
    EXPECT_FALSE(outcome.interrupted);
    EXPECT_EQ(control.phase(), LivePhase::ended);
    EXPECT_LT(outcome.end_ps, scenario.lasts_ps);

    const std::string yaml = driver.driven().yaml();
    SCOPED_TRACE(yaml);
    const Scenario saved = load(yaml);
    EXPECT_EQ(saved.lasts_ps, outcome.end_ps);
    const RunOutcome again = run(saved, second);
    EXPECT_EQ(again.end_ps, outcome.end_ps);
    EXPECT_GT(first.edge_count, 1000U);
    EXPECT_EQ(second.frame_count, first.frame_count);
    EXPECT_EQ(second.edge_count, first.edge_count);
    EXPECT_EQ(second.frames(), first.frames());
    EXPECT_EQ(second.edges(), first.edges());
    EXPECT_EQ(second.marks, first.marks);
  }

  Folder folder_;
  Bench bench_;
};

TEST_F(LiveRun, OfAnUnplannedHourIsTheSameAgainFromItsSavedScenario) {
  const Scenario session = load_scenario(configs / "scenarios/bench-session.yaml", bench_);
  expect_the_same_again(session, true, [&](Driver& driver, LiveControl& control) {
    EXPECT_EQ(control.phase(), LivePhase::waiting);
    EXPECT_FALSE(control.step(us));
    driver.act({{"slope", "1 %"}});
    control.start();
    driver.act({{"key", "on"}});
    driver.wait_until(100 * ms);
    driver.act({{"throttle", "2.6 V"}, {"over", "300 ms"}});
    driver.wait_until(200 * ms);
    driver.act({{"throttle", "2.2 V"}, {"over", "100 ms"}});
    driver.act({{"slope", "6 %"}, {"over", "50 ms"}});
    driver.act({{"load_torque", "1 N m"}});
    driver.wait_until(400 * ms);
    driver.act({{"fault", "hall_line_open"}, {"line", "U"}});
    driver.pause();
    // Edges of gates are some tens of microseconds apart; no step needs a period more.
    constexpr std::int64_t period_ps = 125 * us;
    for (int k = 0; k < 4; ++k) EXPECT_LT(driver.step(period_ps), 2 * period_ps);
    driver.act({{"brake", "on"}});
    EXPECT_LT(driver.step(20 * period_ps), 21 * period_ps);
    driver.resume();
    driver.wait_until(500 * ms);
    driver.act({{"clear", "hall_line_open"}, {"line", "U"}});
    driver.act({{"brake", "off"}});
    driver.act({{"fault", "gate_line_open"}, {"gate", "UH"}});
    driver.act({{"key", "off"}});
    driver.wait_until(600 * ms);
    driver.act({{"throttle", "0 %"}});
    driver.act({{"key", "on"}});
    driver.wait_until(700 * ms);
    driver.pause();
  });
}

// Its own lines: a ramp that is overtaken, what is random, what waits for something done by hand,
// and limits; and what would have come later. As fast as the machine goes: much is too late at
// first.
TEST_F(LiveRun, OfAPlannedRunIsTheSameAgainAsFastAsItGoes) {
  const Scenario planned = load(R"(scenario: Planned
lasts: 3000 s
seed: 5
start: {speed: 200 rpm, key: on}
timeline:
  - {at: 0 s, throttle: 2.4 V, over: 2900 s}
  - {at: 0.2 s, fault: hall_line_open, line: W, intermittent: {probability: 20 %, lasts: 50 ms, for: 2000 s}}
  - {at: 0.1 s, load_torque: {noise: {rms: 0.5 N m, bandwidth: 20 Hz, for: 2000 s}}}
  - {at: 2990 s, brake: on}
  - {at: 2995 s, brake: off}
  - {when: speed > 30 rpm for 1 ms, after: brake off, slope: 2 %}
  - {when: speed > 30000 rpm, slope: 2 %}
expect:
  - {measure: speed_mean, to: 1 s, min: 0}
  - {measure: speed_mean, to: 2999 s, min: 0}
)");
  expect_the_same_again(planned, false, [&](Driver& driver, LiveControl& control) {
    control.start();
    driver.act({{"brake", "on"}});
    driver.act({{"throttle", "1.5 V"}, {"over", "100 ms"}});
    driver.act({{"brake", "off"}});
    driver.wait_until(500 * ms);
    driver.act({{"fault", "phase_open"}, {"line", "V"}});
    driver.act({{"throttle", "2 V"}});
    driver.act({{"clear", "phase_open"}, {"line", "V"}});
    driver.act({{"fault", "hall_line_stuck"}, {"line", "U"}, {"level", "high"}});
    driver.wait_until(control.now_ps() + 500 * ms);
  });
}

// What is decided already is decided as if the action had been known from the start.
TEST_F(LiveRun, IsTheSameAgainHoweverNearAnActionIs) {
  for (const char* name : {"orchard-cart-mid", "orchard-cart-hub-stand-in"}) {
    SCOPED_TRACE(name);
    bench_ = load_bench(configs / "benches" / (std::string(name) + ".yaml"), {}, "/none");
    Scenario scenario = drive_off(500 * ms, 2.0);
    LiveControl control(true);
    control.start();
    InstantDriver first(control, 480 * ms);
    RunOptions options;
    options.live = &control;
    run(scenario, first, options);
    EXPECT_GT(first.taken.size(), 100U);
    EXPECT_GT(first.late, 100);
    for (const Action& one : first.taken) {
      const auto later = std::find_if(scenario.timeline.begin(), scenario.timeline.end(),
                                      [&](const Action& other) { return other.at_ps > one.at_ps; });
      scenario.timeline.insert(later, one);
    }
    HashingSink second;
    run(scenario, second);
    EXPECT_EQ(second.frames(), first.frames());
    EXPECT_EQ(second.edges(), first.edges());
    EXPECT_EQ(second.marks, first.marks);
  }
}

TEST_F(LiveRun, ThatNobodyStartsEndsWhereItStands) {
  const Scenario session = load_scenario(configs / "scenarios/bench-session.yaml", bench_);
  LiveControl control(true);
  control.stop();
  HashingSink sink;
  RunOptions options;
  options.live = &control;
  const RunOutcome outcome = run(session, sink, options);
  EXPECT_TRUE(outcome.interrupted);
  EXPECT_EQ(outcome.end_ps, 0);
  EXPECT_EQ(sink.frame_count, 0U);
  EXPECT_EQ(control.phase(), LivePhase::ended);
}

// Who holds a run does not keep a signal from ending it.
TEST_F(LiveRun, ThatIsHeldHearsTheSignalToStop) {
  const Scenario session = load_scenario(configs / "scenarios/bench-session.yaml", bench_);
  LiveControl control(true);
  std::atomic<bool> asked{false};
  control.start();
  control.pause();
  std::thread person([&] {
    while (control.phase() != LivePhase::paused) std::this_thread::sleep_for(1ms);
    asked = true;
  });
  HashingSink sink;
  RunOptions options;
  options.live = &control;
  options.stop = &asked;
  EXPECT_TRUE(run(session, sink, options).interrupted);
  person.join();
}

}  // namespace
}  // namespace stillrotor::test
