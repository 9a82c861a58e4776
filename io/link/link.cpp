#include "io/link/link.hpp"

#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <thread>
#include <utility>

#include "io/capture_thread.hpp"
#include "io/link/fitness.hpp"
#include "io/link/stream.hpp"

namespace stillrotor::io {
namespace {

constexpr std::int64_t ms = 1'000'000;
constexpr std::int64_t between_orders = 200 * ms;  // to go live again
std::int64_t ns(double seconds) { return std::llround(1e9 * seconds); }

class StreamKeeper final : public LinkKeeper {
 public:
  explicit StreamKeeper(const LinkConfig& config)
      : address_(parse_link_address(config.address)), thread_(config.thread) {}

  void start(LinkSession& session) override {
    stream_ = std::make_unique<LinkStream>(address_, session);
    stream_->start(thread_);
  }
  void stop() noexcept override {
    if (stream_) stream_->stop();
  }
  std::int64_t now_ns() noexcept override { return monotonic_ns(); }
  void wait(std::int64_t ns) override { std::this_thread::sleep_for(std::chrono::nanoseconds(ns)); }
  std::string last_error() const override { return stream_ ? stream_->last_error() : ""; }

 private:
  LinkAddress address_;
  CaptureThread thread_;
  std::unique_ptr<LinkStream> stream_;
};

const LinkSettings& needed(const LinkConfig& config) {
  if (!config.settings)
    throw ConfigError("controller.link.address",
                      "what the co-processor is to compute has not been worked out; allowed: a "
                      "bench that a program has completed.");
  return *config.settings;
}

class Link final : public WiredController, public FarPlant {
 public:
  Link(const LinkConfig& config, std::unique_ptr<LinkKeeper> keeper)
      : config_(config),
        captured_(GateWires::six, 0.0),
        session_(needed(config), captured_),
        keeper_(std::move(keeper)) {
    for (std::size_t k = 0; k < channel_count; ++k) {
      const int chip_channel = config_.channels[k];
      if (chip_channel < 0) continue;
      const cp_sense_channel& sense =
          config_.settings->parameters.sense[static_cast<std::size_t>(chip_channel)];
      if (sense.what == CP_SENSE_TOLD) told_.channels |= 1U << chip_channel;
    }
  }
  ~Link() override { close(); }

  void open() override {
    keeper_->start(session_);
    const std::int64_t patience = ns(config_.patience_s), begun = keeper_->now_ns();
    while (!session_.status().running) {
      wait();
      require_fit(config_, session_.status());
      if (keeper_->now_ns() - begun > patience)
        throw no_answer(config_, session_.status(), keeper_->last_error());
    }
    require_fit(config_, session_.status());
    for (const std::int64_t warm = keeper_->now_ns() + ns(config_.warm_up_s);
         keeper_->now_ns() < warm;)
      wait();
    if (!session_.status().running)
      throw no_answer(config_, session_.status(), keeper_->last_error());
  }

  void arm(std::int64_t monotonic_ns) override {
    drop_reports();
    armed_ns_ = live_ns_ = monotonic_ns;
    captured_.arm(monotonic_ns);
  }

  void read(EdgeBatch& batch) noexcept override {
    const std::int64_t now = keeper_->now_ns();
    captured_.read(batch, now);
    if (session_.status().live && powered_) {
      live_ns_ = now;
      was_live_ = true;
    } else if (was_live_ && batch.gap_count < EdgeBatch::most_gaps) {
      batch.gaps[batch.gap_count++] = {Time(1000 * (live_ns_ - armed_ns_)),
                                       Time(1000 * (now - armed_ns_)), line::gate_UH, 0};
      ++gaps_;
    }
  }

  bool write(const WireOutputs& out) noexcept override {
    const LinkStatus& status = session_.status();
    if (safe_.load(std::memory_order_relaxed)) return true;
    powered_ = out.powered;
    const std::int64_t now = keeper_->now_ns();
    if (!powered_) {
      was_live_ = false;
      session_.rest();
    } else if (status.running && !status.live && now - ordered_ns_ >= between_orders) {
      ordered_ns_ = now;
      session_.want_live();
    }
    if (status.live) ordered_ns_ = now - between_orders;
    told_.lines = 0;
    for (const auto& [id, bit] : slow_lines)
      if ((out.high >> index(id) & 1U) != 0 && (out.released >> index(id) & 1U) == 0)
        told_.lines |= bit;
    for (std::size_t k = 0; k < channel_count; ++k) {
      const int at = config_.channels[k];
      if (at < 0 || (told_.channels >> at & 1U) == 0) continue;
      const auto chip_channel = static_cast<std::size_t>(at);
      told_.codes[chip_channel] = coprocessor::told_code(
          config_.settings->parameters.sense[chip_channel], out.volts[k], config_.converter_V);
    }
    session_.tell(told_);
    return !status.unfit;
  }

  void make_safe() noexcept override {
    safe_.store(true, std::memory_order_relaxed);
    session_.make_safe();
  }
  void close() noexcept override {
    make_safe();
    keeper_->stop();
  }
  WireCounts counts() const noexcept override {
    WireCounts counts = captured_.counts();
    counts.gaps += gaps_;
    return counts;
  }

  FarPlant* far_plant() noexcept override { return this; }
  void ahead(const Ahead& a) noexcept override { session_.ahead(a); }
  bool next_report(LinkReport& out) noexcept override { return session_.next_report(out); }
  const LinkStatus& link_status() noexcept override { return session_.status(); }

 private:
  void wait() {
    keeper_->wait(5 * ms);
    drop_reports();
  }
  /// Of the time before a run: left where they are they would leave no room for those of its
  /// beginning.
  void drop_reports() noexcept {
    for (LinkReport report; session_.next_report(report);) {
    }
  }

  static constexpr std::array<std::pair<LineId, std::uint32_t>, 3> slow_lines{
      {{line::key, CP_KEY}, {line::brake, CP_BRAKE}, {line::reverse, CP_REVERSE}}};

  LinkConfig config_;
  CapturedEdges captured_;
  LinkSession session_;
  ToldOutputs told_;
  std::atomic<bool> safe_{false};

  // The cycle's thread.
  std::int64_t armed_ns_ = 0, live_ns_ = 0;  // live_ns_: outputs known to be live then
  std::int64_t ordered_ns_ = INT64_MIN / 2;  // to go live
  bool powered_ = false, was_live_ = false;  // since it has its supply
  std::uint64_t gaps_ = 0;
  std::unique_ptr<LinkKeeper> keeper_;  // last: stops before what it uses goes
};

}  // namespace

std::unique_ptr<WiredController> make_link(const LinkConfig& config) {
  return make_link(config, std::make_unique<StreamKeeper>(config));
}

std::unique_ptr<WiredController> make_link(const LinkConfig& config,
                                           std::unique_ptr<LinkKeeper> keeper) {
  return std::make_unique<Link>(config, std::move(keeper));
}

std::optional<lf_hello> ask_chip(const LinkConfig& config) {
  CapturedEdges captured(GateWires::six, 0.0);
  LinkSettings settings = needed(config);
  settings.asks_only = true;
  LinkSession session(settings, captured);
  StreamKeeper keeper(config);
  keeper.start(session);
  const std::int64_t until = keeper.now_ns() + ns(config.patience_s);
  while (session.status().chip.role == 0 && keeper.now_ns() < until) keeper.wait(5 * ms);
  keeper.stop();
  if (session.status().chip.role == 0) return std::nullopt;
  return session.status().chip;
}

}  // namespace stillrotor::io
