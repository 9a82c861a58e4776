#include "tests/emulator/coprocessor/linked_run.hpp"

#include <algorithm>
#include <fstream>

#include "emulator/coprocessor/chip_of_bench.hpp"
#include "emulator/cycle/wired_bench.hpp"
#include "emulator/cycle/wired_controller.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/virtual_time/virtual_run.hpp"

namespace stillrotor::test {
namespace {

constexpr std::int64_t way_ns = 60'000, step_ns = 50'000, ms = 1'000'000;
const std::string benches = STILLROTOR_SOURCE_DIR "/configs/benches/";

class Keeper final : public io::LinkKeeper {
 public:
  explicit Keeper(VirtualWire& wire) : wire_(wire) {}
  void start(io::LinkSession& session) override { wire_.connect(session); }
  void stop() noexcept override { wire_.advance_to(wire_.now_ns() + 2 * ms); }
  std::int64_t now_ns() noexcept override { return wire_.now_ns(); }
  void wait(std::int64_t ns) override { wire_.advance_to(wire_.now_ns() + ns); }
  std::string last_error() const override { return ""; }

 private:
  VirtualWire& wire_;
};

class WireClock final : public CycleClock {
 public:
  explicit WireClock(VirtualWire& wire) : wire_(wire) {}
  std::int64_t now_ns() noexcept override { return wire_.now_ns(); }
  void sleep_until(std::int64_t ns) noexcept override { wire_.advance_to(ns); }

 private:
  VirtualWire& wire_;
};

io::ChipSettings rewired(const Bench& bench, const std::function<void(io::ChipSettings&)>& rewire) {
  io::ChipSettings chip = chip_of(bench);
  if (rewire) rewire(chip);
  return chip;
}

std::string written(const testing::ScratchFolder& folder, const std::string& text) {
  const auto file = folder.path() / "scenario.yaml";
  std::ofstream(file) << text;
  return file.string();
}

}  // namespace

void VirtualWire::connect(io::LinkSession& session) {
  session_ = &session;
  session.connected(1, now_ns_);
}

bool VirtualWire::send(std::span<const std::uint8_t> frame) {
  if (!pulled) down_.push_back({now_ns_ + way_ns, {frame.begin(), frame.end()}});
  return true;
}

void VirtualWire::carry() {
  for (const std::uint8_t byte : chip.take_sent()) {
    half_.push_back(byte);
    if (byte != 0) continue;
    const double dice = static_cast<double>(random_() & 0xffffffU) * 0x1p-24;
    if (!pulled && dice >= lost) up_.push_back({now_ns_ + way_ns, half_});
    half_.clear();
  }
  for (; !down_.empty() && down_.front().at_ns <= now_ns_; down_.pop_front())
    if (!pulled) chip.hear(down_.front().frame);
  for (; !up_.empty() && up_.front().at_ns <= now_ns_; up_.pop_front())
    if (!pulled && session_ != nullptr) session_->take(up_.front().frame, now_ns_);
}

void VirtualWire::advance_to(std::int64_t ns) {
  while (now_ns_ < ns) {
    now_ns_ = std::min(ns, now_ns_ + step_ns);
    chip.advance(io::Time(1000 * (now_ns_ - begun_ns_)));
    carry();
    if (now_ns_ - last_ms_ < ms) continue;
    last_ms_ = now_ns_;
    if (on_ms) on_ms(now_ns_);
    if (session_ != nullptr) session_->due(now_ns_, *this);
  }
}

LinkedRun::LinkedRun(const std::string& text, const std::function<void(io::ChipSettings&)>& rewire)
    : bench(load_bench(benches + "orchard-cart-mid-link.yaml", {}, STILLROTOR_BUILD_DIR)),
      scenario(load_scenario(written(folder, text), bench)),
      controller(io::make_controller(
          load_bench(benches + "orchard-cart-mid.yaml", {}, STILLROTOR_BUILD_DIR).controller)),
      wire(controller, rewired(bench, rewire)) {
  controller.seen = [this] {
    if (key_seen_ns == 0) key_seen_ns = wire.now_ns();
  };
}

void LinkedRun::go() {
  const io::ControllerConfig completed = completed_controller(bench);
  const auto linked =
      io::make_link(std::get<io::LinkConfig>(completed), std::make_unique<Keeper>(wire));
  linked->open();
  RecordHeader header;
  header.bench = bench.name;
  header.scenario = scenario.name;
  header.clock = "wall";
  header.rate_Hz = bench.record_rate_Hz;
  header.pole_pairs = bench.drive.machine.pole_pairs;
  const auto high = initial_lines_high(bench, scenario);
  std::copy(high.begin(), high.end(), header.initial_lines_high);
  {
    Recorder recorder(folder.path(), header);
    WiredBench wired(bench, scenario, *linked, recorder);
    WireClock clock(wire);
    CyclePlan plan;
    plan.period_ns = std::llround(bench.cycle.period_s * 1e9);
    plan.delay_ns = std::llround(bench.cycle.delay_s * 1e9);
    plan.lasts_ps = scenario.lasts_ps;
    CycleWindow window;
    CycleCounts turns;
    wired.begin();
    armed_ns = clock.now_ns();
    wired.arm(armed_ns);
    end = run_cycle(wired, clock, plan, armed_ns, window, turns);
    linked->make_safe();
    wired.end();
    end_ps = wired.world().now_ps();
    link = wired.mirror()->link_status();
    mirror = wired.mirror()->report();
    recorder.finish(end_ps);
  }
  counts = linked->counts();
  linked->close();
  judgement = judge(RecordReader(folder.path()), scenario);
}

}  // namespace stillrotor::test
