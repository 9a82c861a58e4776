#include "io/polled/polled.hpp"

#include <atomic>
#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "io/capture_thread.hpp"
#include "io/captured_edges.hpp"
#include "io/polled/registers.hpp"
#include "io/polled/tick_clock.hpp"

namespace stillrotor::io {
namespace {

constexpr std::size_t watchdog_bit = 31;  // beside the lines in a word of outputs
static_assert(line_count <= watchdog_bit);
constexpr LineId line_id(std::size_t k) noexcept { return LineId(static_cast<std::uint16_t>(k)); }

struct Input {
  LineId line{};
  std::uint32_t mask = 0;
};
struct Output {
  std::size_t bit = 0;  // LineId, or watchdog_bit
  std::uint32_t mask = 0;
  const PolledLine* line = nullptr;
};

/// What to do to the registers.
struct Levels {
  std::uint32_t high = 0, low = 0;       // physical; together: what is driven or could be
  std::uint32_t driven = 0, let_go = 0;  // of what `enable` decides
  void put(const Output& output, Level level) noexcept {
    const Drive drive = output.line->drive;
    const bool gone = level == Level::released ||
                      (drive == Drive::open_drain && level == Level::high) ||
                      (drive == Drive::open_source && level == Level::low);
    (gone ? let_go : driven) |= output.mask;
    if (!gone) ((level == Level::high) != output.line->inverted ? high : low) |= output.mask;
  }
};

// Cycle and watchdog may both be at it, so whole words, never torn; who comes last is seen to in
// write().
void set(volatile std::uint32_t* word, std::uint32_t value) noexcept {
  __atomic_store_n(word, value, __ATOMIC_RELAXED);
}
void change(volatile std::uint32_t* word, std::uint32_t ones, std::uint32_t zeros) noexcept {
  set(word, (__atomic_load_n(word, __ATOMIC_RELAXED) | ones) & ~zeros);
}

class Polled : public PolledController {
 public:
  explicit Polled(const PolledConfig& config)
      : config_(config), edges_(config.gates, config.dead_time_s) {
    for (std::size_t k = 0; k < line_count; ++k)
      take("harness.lines." + std::string(name(line_id(k))), config_.lines[k],
           !from_controller(line_id(k)), k);
    take("harness.watchdog", config_.watchdog, true, watchdog_bit);
    take("harness.stop_circuit", config_.stop_circuit, false, line_count);
    take("harness.bus_dead", config_.bus_dead, false, line_count);
    const PolledRegisters& r = config_.registers;
    if (r.level < 0)
      throw ConfigError("controller.registers.level",
                        "controller.registers.level is missing; allowed an offset in bytes. It is "
                        "the register that shows how the pins stand.");
    if (!outputs_.empty() && r.output < 0 && (r.set < 0 || r.clear < 0))
      throw ConfigError("controller.registers.output",
                        "the bench drives lines, and no register for that is named; allowed: set "
                        "and clear, or output. See the chip's manual.");
  }
  ~Polled() override { close(); }

  void open() override {
    registers_ = Registers(config_.registers);
    put(safe_levels());
    level_ = registers_.at(config_.registers.level);
    clock_.emplace();
    ns_per_tick_ = clock_->ns_per_tick();
    for (const Input& input : inputs_) watched_ |= input.mask;
    before_ = look();
    last_ = ticks();
    tell(last_, watched_, before_);
    capture_.start(config_.capture, [this] { poll(); });
  }

  void arm(std::int64_t at_ns) override { edges_.arm(at_ns); }
  void read(EdgeBatch& batch) noexcept override { edges_.read(batch, monotonic_ns()); }

  bool write(const WireOutputs& out) noexcept override {
    if (safe_.load(std::memory_order_acquire)) return true;
    const std::uint32_t high = out.high | static_cast<std::uint32_t>(out.kick) << watchdog_bit;
    Levels levels;
    for (const Output& output : outputs_) {
      Level level = (high >> output.bit & 1) != 0 ? Level::high : Level::low;
      if ((out.released >> output.bit & 1) != 0)
        level = config_.registers.enable >= 0 ? Level::released : output.line->safe;
      levels.put(output, level);
    }
    put(levels);
    // make_safe() may have come in between, and must have the last word. The fence keeps this look
    // behind the words just written, which a processor may hold back; that in make_safe() keeps its
    // words behind its flag. So either this look sees the flag, or those words come later than
    // these.
    std::atomic_thread_fence(std::memory_order_seq_cst);
    if (safe_.load(std::memory_order_acquire)) make_safe();
    return true;
  }

  BenchInputs bench_inputs() noexcept override {
    BenchInputs found;
    if (level_ == nullptr) return found;
    const std::uint32_t now = *level_;
    const auto look = [now](const PolledLine& line, Sensed& sensed) {
      if (line.wired())
        sensed = ((now >> line.bit & 1) != 0) != line.inverted ? Sensed::on : Sensed::off;
    };
    look(config_.stop_circuit, found.stop_circuit);
    look(config_.bus_dead, found.bus_dead);
    return found;
  }

  void make_safe() noexcept override {
    safe_.store(true, std::memory_order_release);
    std::atomic_thread_fence(std::memory_order_seq_cst);
    put(safe_levels());
  }

  void close() noexcept override {
    make_safe();
    capture_.stop();
    level_ = nullptr;
    registers_ = {};
  }

  WireCounts counts() const noexcept override { return edges_.counts(); }
  const PollGaps& poll_gaps() const noexcept override { return gaps_; }
  double ns_per_tick() const noexcept override { return ns_per_tick_; }

 private:
  void take(const std::string& path, const PolledLine& line, bool output, std::size_t bit) {
    if (!line.wired()) return;
    if (line.bit > 31)
      throw ConfigError(path + ".offset", path + ".offset is " + std::to_string(line.bit) +
                                              "; allowed 0 to 31, the bits of a register.");
    const std::uint32_t mask = 1U << line.bit;
    if ((taken_ & mask) != 0)
      throw ConfigError(path + ".offset", path + ".offset is " + std::to_string(line.bit) +
                                              ", which another line has already; allowed one "
                                              "wire a bit. Move one of them.");
    taken_ |= mask;
    if (!output) {
      if (bit < line_count) inputs_.push_back({line_id(bit), mask});
      inverted_ |= line.inverted ? mask : 0;
      return;
    }
    const bool lets_go = line.drive != Drive::push_pull || line.safe == Level::released;
    if (lets_go && config_.registers.enable < 0)
      throw ConfigError(path + ".safe",
                        path +
                            " is to be let go, and no register for that is named; allowed without "
                            "controller.registers.enable: drive: push_pull with safe: low or "
                            "high. Name the register, or change them.");
    if (line.inverted && line.drive != Drive::push_pull)
      throw ConfigError(path + ".inverted",
                        path +
                            ".inverted is on beside open drain or open source, which hold the "
                            "wire itself; allowed with a transistor or buffer that inverts: "
                            "drive: push_pull.");
    outputs_.push_back({bit, mask, &line});
  }

  Levels safe_levels() const noexcept {
    Levels levels;
    for (const Output& output : outputs_) levels.put(output, output.line->safe);
    return levels;
  }

  /// A level stands before its pin drives it.
  void put(const Levels& levels) noexcept {
    if (!registers_.mapped() || outputs_.empty()) return;
    const PolledRegisters& r = config_.registers;
    if (r.enable >= 0 && levels.let_go != 0) change(registers_.at(r.enable), 0, levels.let_go);
    if (r.set >= 0 && r.clear >= 0) {
      if (levels.low != 0) set(registers_.at(r.clear), levels.low);
      if (levels.high != 0) set(registers_.at(r.set), levels.high);
    } else {
      change(registers_.at(r.output), levels.high, levels.low);
    }
    if (r.enable >= 0 && levels.driven != 0) change(registers_.at(r.enable), levels.driven, 0);
  }

  // The capture thread.

  void poll() noexcept {
    const auto tolerated =
        static_cast<std::uint64_t>(config_.gap_tolerance_s * 1e9 / clock_->ns_per_tick());
    std::uint32_t before = before_;  // in registers of the processor, not in memory
    std::uint64_t last = last_, blind_since = 0;
    constexpr int looks_between_clocks = 65'536;
    while (!capture_.stopping()) {
      for (int k = 0; k < looks_between_clocks; ++k) {
        const std::uint32_t now = look();
        const std::uint64_t at = ticks(), gap = at - last;
        gaps_.add(gap);
        // The level may have been read at the beginning of a long gap, and its time at the end;
        // what changed meanwhile shows at the next look only. So the gap lasts until then.
        if (gap > tolerated || blind_since != 0) [[unlikely]] {
          if (blind_since != 0) tell_gap(blind_since, at);
          blind_since = gap > tolerated ? last : 0;
        }
        if (now != before) [[unlikely]]
          tell(last + gap / 2, now ^ before, now);
        before = now;
        last = at;
      }
      clock_->look();
      edges_.alive(clock_->ns(last));
    }
  }

  std::uint32_t look() const noexcept { return (*level_ ^ inverted_) & watched_; }

  void tell(std::uint64_t at, std::uint32_t changed, std::uint32_t levels) noexcept {
    const std::int64_t at_ns = clock_->ns(at);
    for (const Input& input : inputs_)
      if ((changed & input.mask) != 0) edges_.edge(at_ns, input.line, (levels & input.mask) != 0);
  }

  void tell_gap(std::uint64_t from, std::uint64_t to) noexcept {
    const Loss loss{clock_->ns(from), clock_->ns(to), 0, 0};
    for (const Input& input : inputs_) edges_.gap(loss, input.line);
  }

  PolledConfig config_;
  std::uint32_t taken_ = 0, inverted_ = 0, watched_ = 0;
  std::vector<Input> inputs_;
  std::vector<Output> outputs_;
  Registers registers_;
  const volatile std::uint32_t* level_ = nullptr;
  std::optional<TickClock> clock_;  // the capture thread's, once it runs
  std::uint32_t before_ = 0;        // levels at the look before the capture thread's first
  std::uint64_t last_ = 0;          // and its time
  double ns_per_tick_ = 1.0;
  PollGaps gaps_;
  CapturedEdges edges_;
  std::atomic<bool> safe_{false};
  RunningCapture capture_;  // last: stops before what it uses goes
};

}  // namespace

std::unique_ptr<PolledController> make_polled(const PolledConfig& config) {
  return std::make_unique<Polled>(config);
}

}  // namespace stillrotor::io
