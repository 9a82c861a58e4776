// libgpiod 1.6. A queue of 16 events for each line, no sequence numbers.
#include "io/gpiod/library.hpp"

#include <gpiod.h>

#include <cerrno>
#include <system_error>

namespace stillrotor::io::gpiod {
namespace {

struct CloseChip {
  void operator()(gpiod_chip* chip) const noexcept { gpiod_chip_close(chip); }
};
using Chip = std::unique_ptr<gpiod_chip, CloseChip>;  // gives its lines back too

constexpr std::size_t queue = 16;  // DECLARE_KFIFO of a line in the kernel's first interface

[[noreturn]] void fail(const char* what) {
  throw std::system_error(errno, std::generic_category(), what);
}

Chip open_chip(const std::string& path) {
  Chip chip(gpiod_chip_open(path.c_str()));
  if (!chip) fail("gpiod_chip_open");
  return chip;
}

int flags_of(const LineRequest& line) noexcept {
  int flags = line.active_low ? GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW : 0;
  if (line.drive == Drive::open_drain) flags |= GPIOD_LINE_REQUEST_FLAG_OPEN_DRAIN;
  if (line.drive == Drive::open_source) flags |= GPIOD_LINE_REQUEST_FLAG_OPEN_SOURCE;
  if (line.bias == Bias::none) flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_DISABLE;
  if (line.bias == Bias::pull_up) flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_UP;
  if (line.bias == Bias::pull_down) flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_DOWN;
  return flags;
}

/// One request has one set of flags in this interface; the backend asks for lines that share them.
gpiod_line_bulk request(gpiod_chip* chip, std::span<const LineRequest> lines, int type,
                        std::uint32_t active) {
  gpiod_line_bulk bulk;
  gpiod_line_bulk_init(&bulk);
  std::array<int, most_lines> levels{};
  for (std::size_t k = 0; k < lines.size(); ++k) {
    gpiod_line* line = gpiod_chip_get_line(chip, lines[k].offset);
    if (line == nullptr) fail("gpiod_chip_get_line");
    gpiod_line_bulk_add(&bulk, line);
    levels[k] = static_cast<int>(active >> k & 1);
  }
  int flags = flags_of(lines.front());
  // Open drain says nothing of an input, and the kernel refuses it there.
  if (type != GPIOD_LINE_REQUEST_DIRECTION_OUTPUT)
    flags &= ~(GPIOD_LINE_REQUEST_FLAG_OPEN_DRAIN | GPIOD_LINE_REQUEST_FLAG_OPEN_SOURCE);
  const gpiod_line_request_config config{consumer, type, flags};
  if (gpiod_line_request_bulk(&bulk, &config, levels.data()) != 0) fail("gpiod_line_request_bulk");
  return bulk;
}

class Watched : public WatchedLines {
 public:
  Watched(const std::string& chip, std::span<const LineRequest> lines, bool edges)
      : chip_(open_chip(chip)) {
    // The kernel's requests of edges are of one line each anyway.
    for (std::size_t k = 0; k < lines.size(); ++k) {
      bulks_.push_back(request(
          chip_.get(), lines.subspan(k, 1),
          edges ? GPIOD_LINE_REQUEST_EVENT_BOTH_EDGES : GPIOD_LINE_REQUEST_DIRECTION_INPUT, 0));
      if (edges) descriptors_.push_back(gpiod_line_event_get_fd(bulks_.back().lines[0]));
    }
  }
  std::span<const int> descriptors() const noexcept override { return descriptors_; }

  bool read(std::size_t descriptor, RawEdges& out) noexcept override {
    if (out.count + queue > RawEdges::most) return true;
    std::array<gpiod_line_event, queue> events;
    const int count = gpiod_line_event_read_multiple(bulks_[descriptor].lines[0], events.data(),
                                                     static_cast<unsigned>(events.size()));
    if (count < 0) return false;
    for (int k = 0; k < count; ++k) {
      const gpiod_line_event& event = events[static_cast<std::size_t>(k)];
      out.edges[out.count++] = {event.ts.tv_sec * 1'000'000'000 + event.ts.tv_nsec,
                                static_cast<std::uint16_t>(descriptor),
                                event.event_type == GPIOD_LINE_EVENT_RISING_EDGE, 0};
    }
    if (static_cast<std::size_t>(count) == queue) out.brimful |= 1U << descriptor;
    return true;
  }

  bool sense(std::uint32_t& active) noexcept override {
    active = 0;
    for (std::size_t k = 0; k < bulks_.size(); ++k) {
      const int level = gpiod_line_get_value(bulks_[k].lines[0]);
      if (level < 0) return false;
      active |= static_cast<std::uint32_t>(level) << k;
    }
    return true;
  }

 private:
  Chip chip_;
  std::vector<gpiod_line_bulk> bulks_;
  std::vector<int> descriptors_;
};

class Driven : public DrivenLines {
 public:
  Driven(const std::string& chip, std::span<const LineRequest> lines, std::uint32_t active,
         bool released)
      : chip_(open_chip(chip)),
        bulk_(request(
            chip_.get(), lines,
            released ? GPIOD_LINE_REQUEST_DIRECTION_INPUT : GPIOD_LINE_REQUEST_DIRECTION_OUTPUT,
            active)),
        released_(released) {}

  bool drive(std::uint32_t active) noexcept override {
    std::array<int, most_lines> levels{};
    for (unsigned k = 0; k < bulk_.num_lines; ++k) levels[k] = static_cast<int>(active >> k & 1);
    if (released_) return gpiod_line_set_direction_output_bulk(&bulk_, levels.data()) == 0;
    return gpiod_line_set_value_bulk(&bulk_, levels.data()) == 0;
  }
  bool let_go() noexcept override { return gpiod_line_set_direction_input_bulk(&bulk_) == 0; }

 private:
  Chip chip_;
  gpiod_line_bulk bulk_;
  bool released_;  // may be an input at times, so that each level comes with the direction
};

class Library1 : public Library {
 public:
  std::string version() const override { return gpiod_version_string(); }

  std::vector<ChipState> chips() override {
    std::vector<ChipState> all;
    for (const std::string& path : chip_devices()) {
      const Chip chip(gpiod_chip_open(path.c_str()));
      if (!chip) continue;
      ChipState state{path, gpiod_chip_name(chip.get()), gpiod_chip_label(chip.get()), {}};
      for (unsigned k = 0; k < gpiod_chip_num_lines(chip.get()); ++k) {
        gpiod_line* line = gpiod_chip_get_line(chip.get(), k);
        if (line == nullptr) break;
        const char* name = gpiod_line_name(line);
        const char* user = gpiod_line_consumer(line);
        state.lines.push_back(
            {name != nullptr ? name : "", user != nullptr ? user : "", gpiod_line_is_used(line)});
      }
      all.push_back(std::move(state));
    }
    return all;
  }
  std::unique_ptr<WatchedLines> watch(const std::string& chip, std::span<const LineRequest> lines,
                                      bool edges) override {
    return std::make_unique<Watched>(chip, lines, edges);
  }
  std::unique_ptr<DrivenLines> take(const std::string& chip, std::span<const LineRequest> lines,
                                    std::uint32_t active, bool released) override {
    return std::make_unique<Driven>(chip, lines, active, released);
  }
};

}  // namespace

std::unique_ptr<Library> make_library() { return std::make_unique<Library1>(); }

}  // namespace stillrotor::io::gpiod
