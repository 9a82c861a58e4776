#include "io/analog/with_analog.hpp"

#include <array>
#include <atomic>
#include <optional>

namespace stillrotor::io {
namespace {

class WithAnalog final : public WiredController {
 public:
  WithAnalog(std::unique_ptr<WiredController> lines, AnalogConfig config, SystemCalls& calls)
      : lines_(std::move(lines)), port_(std::move(config), calls) {
    for (std::size_t k = 0; k < gate_count; ++k)
      gates_[k] = port_.find_input(name(LineId(static_cast<std::uint16_t>(k))));
  }
  ~WithAnalog() override { close(); }

  void open() override {
    lines_->open();
    port_.open();
  }
  void arm(std::int64_t monotonic_ns) override {
    lines_->arm(monotonic_ns);
    port_.arm(monotonic_ns);
  }
  void read(EdgeBatch& batch) noexcept override { lines_->read(batch); }

  bool write(const WireOutputs& out) noexcept override {
    if (safe_.load(std::memory_order_acquire)) return true;
    // Volts first: their bus is at work while the lines are written.
    const bool volts_follow = port_.store(out.volts, out.powered);
    const bool lines_follow = lines_->write(out);
    // What make_safe() stops in between is no failure.
    const bool stopped = safe_.load(std::memory_order_acquire);
    if (!volts_follow && !stopped) failed_writes_.fetch_add(1, std::memory_order_relaxed);
    return (volts_follow || stopped) && lines_follow;
  }
  BenchInputs bench_inputs() noexcept override { return lines_->bench_inputs(); }

  GateVolts gate_volts() noexcept override {
    GateVolts volts;
    for (std::size_t k = 0; k < gate_count; ++k)
      if (gates_[k]) volts[k] = port_.latest(*gates_[k]);
    return volts;
  }

  void make_safe() noexcept override {
    safe_.store(true, std::memory_order_release);
    port_.make_safe();
    lines_->make_safe();
  }
  /// Lines first: a transfer that hangs holds up its own bus only.
  void close() noexcept override {
    make_safe();
    lines_->close();
    port_.close();
  }

  WireCounts counts() const noexcept override {
    WireCounts counts = lines_->counts();
    const AnalogCounts analog = port_.counts();
    counts.failed_writes += failed_writes_.load(std::memory_order_relaxed);
    counts.transfers = analog.transfers;
    counts.failed_transfers = analog.failed_transfers;
    counts.late_transfers = analog.late;
    counts.cut_volts = analog.clamped;
    counts.longest_transfer_ns = analog.longest_ns;
    return counts;
  }

 private:
  std::unique_ptr<WiredController> lines_;
  AnalogPort port_;
  std::array<std::optional<std::size_t>, gate_count> gates_{};
  std::atomic<bool> safe_{false};
  std::atomic<std::uint64_t> failed_writes_{0};
};

}  // namespace

std::unique_ptr<WiredController> with_analog(std::unique_ptr<WiredController> lines,
                                             AnalogConfig config, SystemCalls& calls) {
  return std::make_unique<WithAnalog>(std::move(lines), std::move(config), calls);
}

}  // namespace stillrotor::io
