#include "io/gpiod/gpiod.hpp"

#include <poll.h>

#include <algorithm>
#include <atomic>
#include <map>
#include <system_error>
#include <tuple>

#include "io/capture_thread.hpp"
#include "io/captured_edges.hpp"
#include "io/gpiod/find_lines.hpp"
#include "io/gpiod/loss_watch.hpp"

namespace stillrotor::io {
namespace {

using namespace gpiod;

constexpr std::size_t watchdog_bit = 31;  // beside the lines in a word of outputs
static_assert(line_count <= watchdog_bit);

constexpr LineId line_id(std::size_t k) noexcept { return LineId(static_cast<std::uint16_t>(k)); }

/// Lines of one chip whose edges are watched.
struct WatchedChip {
  std::unique_ptr<WatchedLines> lines;
  std::vector<LineId> ids;  // by position
  std::vector<LossWatch> losses;
};

struct Output {
  std::size_t bit = 0;  // LineId, or watchdog_bit
  Drive drive = Drive::push_pull;
  Level safe = Level::released;
};

/// Lines that one system call changes.
class OutputGroup {
 public:
  std::unique_ptr<DrivenLines> lines;
  std::vector<Output> outputs;  // by position
  bool releasable = false;      // one push-pull line that can also be let go

  bool write(std::uint32_t high, std::uint32_t released) noexcept {
    std::uint32_t active = 0;
    for (std::size_t k = 0; k < outputs.size(); ++k) {
      const Output& output = outputs[k];
      Level level = (high >> output.bit & 1) != 0 ? Level::high : Level::low;
      if ((released >> output.bit & 1) != 0)
        level = output.drive == Drive::push_pull ? output.safe : Level::released;
      active |= static_cast<std::uint32_t>(is_active(output, level)) << k;
    }
    const bool let_go = releasable && (released >> outputs[0].bit & 1) != 0;
    if (known_ && let_go == let_go_ && (let_go || active == active_)) return true;
    known_ = put(active, let_go);
    active_ = active;
    let_go_ = let_go;
    return known_;
  }
  /// Any thread: leaves what write() remembers alone.
  void make_safe() const noexcept { put(safe_bits(), releasable); }

  std::uint32_t safe_bits() const noexcept {
    std::uint32_t active = 0;
    for (std::size_t k = 0; k < outputs.size(); ++k)
      active |= static_cast<std::uint32_t>(is_active(outputs[k], outputs[k].safe)) << k;
    return active;
  }

 private:
  bool put(std::uint32_t active, bool let_go) const noexcept {
    return let_go ? lines->let_go() : lines->drive(active);
  }
  /// An open drain lets go while it is active.
  static bool is_active(const Output& output, Level level) noexcept {
    return output.drive == Drive::open_drain ? level != Level::low : level == Level::high;
  }

  bool known_ = false, let_go_ = false;
  std::uint32_t active_ = 0;
};

[[noreturn]] void refused(const std::string& paths, const ChipState& chip,
                          const std::system_error& error) {
  std::string remedy;
  switch (error.code().value()) {
    case EBUSY:
      remedy = "Somebody took one of them meanwhile; `gpioinfo` shows who.";
      break;
    case EACCES:
    case EPERM:
      remedy = "This user may not; join the group that owns " + chip.path + ".";
      break;
    case EINVAL:
    case ENOTSUP:
      remedy =
          "The chip cannot do what is asked: no interrupt on that line, or no such bias or "
          "drive. Write bias: as_is and use a resistor outside, or choose another line.";
      break;
    default:
      remedy = "The kernel's log (dmesg) may say more.";
      break;
  }
  throw ConfigError(
      paths, paths + " on " + chip.name + ": the kernel refused (" + error.what() + "). " + remedy);
}

class Gpiod : public WiredController {
 public:
  Gpiod(const GpiodConfig& config, std::unique_ptr<Library> library)
      : config_(config), library_(std::move(library)), edges_(config.gates, config.dead_time_s) {
    for (std::size_t k = 0; k < line_count; ++k) check(line_path(line_id(k)), config_.lines[k]);
    check("harness.watchdog", config_.watchdog);
  }
  ~Gpiod() override { close(); }

  void open() override {
    chips_ = library_->chips();
    find_all();
    // Outputs last: a bench that cannot hear the controller does not speak to it.
    watch_all();
    sense_all();
    drive_all();
    prepare_poll();
    capture_.start(config_.capture, [this] { capture(); });
  }

  void arm(std::int64_t at_ns) override { edges_.arm(at_ns); }
  void read(EdgeBatch& batch) noexcept override { edges_.read(batch, monotonic_ns()); }

  bool write(const WireOutputs& out) noexcept override {
    if (safe_.load(std::memory_order_acquire)) return true;
    const std::uint32_t high = out.high | static_cast<std::uint32_t>(out.kick) << watchdog_bit;
    bool all = !gone_.load(std::memory_order_relaxed);
    for (OutputGroup& group : groups_) all &= group.write(high, out.released);
    if (!all) failed_writes_.fetch_add(1, std::memory_order_relaxed);
    // make_safe() may have come in between, and must have the last word. The fences here and there
    // see to it that either this look finds its flag, or its writes come after these.
    std::atomic_thread_fence(std::memory_order_seq_cst);
    if (safe_.load(std::memory_order_acquire)) make_safe();
    return all;
  }

  BenchInputs bench_inputs() noexcept override {
    BenchInputs found;
    const auto look = [](WatchedLines* line, Sensed& sensed) {
      if (line == nullptr) return;
      std::uint32_t active = 0;
      sensed = line->sense(active) && active != 0 ? Sensed::on : Sensed::off;
    };
    look(stop_circuit_.get(), found.stop_circuit);
    look(bus_dead_.get(), found.bus_dead);
    return found;
  }

  void make_safe() noexcept override {
    safe_.store(true, std::memory_order_release);
    std::atomic_thread_fence(std::memory_order_seq_cst);
    for (const OutputGroup& group : groups_) group.make_safe();
  }

  void close() noexcept override {
    make_safe();
    capture_.stop();
    groups_.clear();
    watched_.clear();
    stop_circuit_.reset();
    bus_dead_.reset();
  }

  WireCounts counts() const noexcept override {
    WireCounts counts = edges_.counts();
    counts.failed_writes = failed_writes_.load(std::memory_order_relaxed);
    return counts;
  }

 private:
  struct Wish {
    std::string path;
    const GpiodLine* line;
    FoundLine found;
    std::size_t bit;
  };

  static void check(const std::string& path, const GpiodLine& line) {
    if (line.wired() && line.inverted && line.drive != Drive::push_pull)
      throw ConfigError(path + ".inverted",
                        path +
                            ".inverted is on beside open drain or open source, which hold the "
                            "wire itself; allowed with a transistor or buffer that inverts: "
                            "drive: push_pull.");
  }

  void find_all() {
    std::map<std::pair<std::size_t, unsigned>, std::string> taken;
    const auto find = [&](std::vector<Wish>& to, std::string path, const GpiodLine& line,
                          std::size_t bit) {
      if (!line.wired()) return;
      const FoundLine found = find_line(path, line, chips_);
      if (const auto [other, fresh] = taken.emplace(std::pair{found.chip, found.offset}, path);
          !fresh)
        throw ConfigError(path, path + " is line " + std::to_string(found.offset) + " of " +
                                    chips_[found.chip].name + ", which " + other->second +
                                    " has already; allowed one wire a line. Move one of them.");
      to.push_back({std::move(path), &line, found, bit});
    };
    for (std::size_t k = 0; k < line_count; ++k)
      find(from_controller(line_id(k)) ? inputs_ : outputs_, line_path(line_id(k)),
           config_.lines[k], k);
    find(outputs_, "harness.watchdog", config_.watchdog, watchdog_bit);
    find(sensed_, "harness.stop_circuit", config_.stop_circuit, 0);
    find(sensed_, "harness.bus_dead", config_.bus_dead, 1);
  }

  static LineRequest request_of(const Wish& wish) {
    return {wish.found.offset, wish.line->inverted, wish.line->bias, wish.line->drive};
  }

  std::unique_ptr<WatchedLines> watch(std::span<const Wish> wishes, bool edges) {
    std::vector<LineRequest> requests;
    std::string paths;
    for (const Wish& wish : wishes) {
      requests.push_back(request_of(wish));
      requests.back().drive = Drive::push_pull;
      paths += (paths.empty() ? "" : ", ") + wish.path;
    }
    const ChipState& chip = chips_[wishes[0].found.chip];
    try {
      return library_->watch(chip.path, requests, edges);
    } catch (const std::system_error& error) {
      refused(paths, chip, error);
    }
  }

  void watch_all() {
    std::map<std::size_t, std::vector<Wish>> by_chip;
    for (const Wish& wish : inputs_) by_chip[wish.found.chip].push_back(wish);
    for (const auto& [chip, wishes] : by_chip) {
      WatchedChip watched{watch(wishes, true), {}, std::vector<LossWatch>(wishes.size())};
      std::uint32_t active = 0;
      watched.lines->sense(active);
      const std::int64_t now = monotonic_ns();
      for (std::size_t k = 0; k < wishes.size(); ++k) {
        const bool high = (active >> k & 1) != 0;
        watched.ids.push_back(line_id(wishes[k].bit));
        watched.losses[k].start(now, high);
        edges_.edge(now, watched.ids[k], high);
      }
      watched_.push_back(std::move(watched));
    }
  }

  void sense_all() {
    for (const Wish& wish : sensed_)
      (wish.bit == 0 ? stop_circuit_ : bus_dead_) = watch({&wish, 1}, false);
  }

  /// The kernel's first interface has one set of flags a request, so lines of one kind go together.
  void drive_all() {
    std::map<std::tuple<std::size_t, bool, Bias, Drive>, std::vector<Wish>> kinds;
    std::vector<std::vector<Wish>> together;
    for (const Wish& wish : outputs_) {
      const GpiodLine& line = *wish.line;
      if (line.drive == Drive::push_pull && line.safe == Level::released)
        together.push_back({wish});
      else
        kinds[{wish.found.chip, line.inverted, line.bias, line.drive}].push_back(wish);
    }
    for (auto& [kind, wishes] : kinds) together.push_back(std::move(wishes));
    for (const std::vector<Wish>& wishes : together) {
      OutputGroup group;
      std::vector<LineRequest> requests;
      std::string paths;
      for (const Wish& wish : wishes) {
        group.outputs.push_back({wish.bit, wish.line->drive, wish.line->safe});
        requests.push_back(request_of(wish));
        paths += (paths.empty() ? "" : ", ") + wish.path;
      }
      group.releasable =
          wishes[0].line->drive == Drive::push_pull && wishes[0].line->safe == Level::released;
      const ChipState& chip = chips_[wishes[0].found.chip];
      try {
        group.lines = library_->take(chip.path, requests, group.safe_bits(), group.releasable);
      } catch (const std::system_error& error) {
        refused(paths, chip, error);
      }
      groups_.push_back(std::move(group));
    }
  }

  void prepare_poll() {
    for (std::size_t chip = 0; chip < watched_.size(); ++chip) {
      const auto descriptors = watched_[chip].lines->descriptors();
      for (std::size_t k = 0; k < descriptors.size(); ++k) {
        poll_.push_back({descriptors[k], POLLIN, 0});
        source_.emplace_back(chip, k);
      }
    }
  }

  // The capture thread.

  void capture() noexcept {
    while (!capture_.stopping()) {
      arrived_ = 0;
      // Until every queue is empty, so that lines with queues of their own can be put in order.
      for (int timeout_ms = idle_ms; arrived_ + RawEdges::most <= merged_.size(); timeout_ms = 0)
        if (poll(poll_.data(), poll_.size(), timeout_ms) <= 0 || !take_ready()) break;
      std::sort(merged_.begin(), merged_.begin() + static_cast<std::ptrdiff_t>(arrived_),
                [](const Arrival& a, const Arrival& b) {
                  return std::tie(a.at_ns, a.order) < std::tie(b.at_ns, b.order);
                });
      for (std::size_t k = 0; k < arrived_; ++k)
        edges_.edge(merged_[k].at_ns, merged_[k].line, merged_[k].high);
      edges_.alive(monotonic_ns());
    }
  }

  /// False: nothing came.
  bool take_ready() noexcept {
    const std::size_t before = arrived_;
    for (std::size_t k = 0; k < poll_.size(); ++k) {
      const auto [chip, descriptor] = source_[k];
      WatchedChip& watched = watched_[chip];
      if ((poll_[k].revents & POLLIN) != 0 && arrived_ + RawEdges::most <= merged_.size()) {
        raw_.count = 0;
        raw_.brimful = 0;
        if (watched.lines->read(descriptor, raw_))
          take(watched);
        else
          lost_chip(chip);
      } else if ((poll_[k].revents & (POLLERR | POLLHUP | POLLNVAL)) != 0) {
        lost_chip(chip);
      }
    }
    return arrived_ > before;
  }

  void take(WatchedChip& watched) noexcept {
    for (std::size_t k = 0; k < raw_.count; ++k) {
      const RawEdge& edge = raw_.edges[k];
      const LineId line = watched.ids[edge.position];
      if (const auto loss = watched.losses[edge.position].next(edge)) edges_.gap(*loss, line);
      merged_[arrived_] = {edge.monotonic_ns, arrived_, line, edge.active};
      ++arrived_;
    }
    for (std::size_t k = 0; raw_.brimful >> k != 0; ++k)
      if ((raw_.brimful >> k & 1) != 0)
        edges_.gap(watched.losses[k].queue_was_full(monotonic_ns()), watched.ids[k]);
  }

  /// Unplugged, or its driver unloaded: the cycle learns it from its next write.
  void lost_chip(std::size_t chip) noexcept {
    gone_.store(true, std::memory_order_relaxed);
    for (std::size_t k = 0; k < watched_[chip].ids.size(); ++k)
      edges_.gap(watched_[chip].losses[k].gone(monotonic_ns()), watched_[chip].ids[k]);
    for (std::size_t k = 0; k < poll_.size(); ++k)
      if (source_[k].first == chip) poll_[k] = {-1, 0, 0};
  }

  struct Arrival {
    std::int64_t at_ns;
    std::size_t order;
    LineId line;
    bool high;
  };
  static constexpr int idle_ms = 5;  // how late levels at arm() and a lost chip are noticed

  GpiodConfig config_;
  std::unique_ptr<Library> library_;
  CapturedEdges edges_;
  std::vector<ChipState> chips_;
  std::vector<Wish> inputs_, outputs_, sensed_;

  std::vector<WatchedChip> watched_;
  std::vector<OutputGroup> groups_;
  std::unique_ptr<WatchedLines> stop_circuit_, bus_dead_;
  std::atomic<bool> safe_{false}, gone_{false};
  std::atomic<std::uint64_t> failed_writes_{0};

  std::vector<pollfd> poll_;
  std::vector<std::pair<std::size_t, std::size_t>> source_;  // of poll_: chip, descriptor
  RawEdges raw_;
  std::array<Arrival, 4 * RawEdges::most> merged_;
  std::size_t arrived_ = 0;
  RunningCapture capture_;  // last: stops before what it uses goes
};

}  // namespace

std::unique_ptr<WiredController> make_gpiod(const GpiodConfig& config) {
  return make_gpiod(config, make_library());
}
std::unique_ptr<WiredController> make_gpiod(const GpiodConfig& config,
                                            std::unique_ptr<Library> library) {
  return std::make_unique<Gpiod>(config, std::move(library));
}

}  // namespace stillrotor::io
