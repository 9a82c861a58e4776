// libgpiod 2. One queue for all lines of a request, as long as the kernel allows; every event
// numbered.
#include "io/gpiod/library.hpp"

#include <gpiod.h>

#include <cerrno>
#include <system_error>

namespace stillrotor::io::gpiod {
namespace {

template <class T, void (*Free)(T*)>
struct Freed {
  struct Deleter {
    void operator()(T* object) const noexcept { Free(object); }
  };
  using Pointer = std::unique_ptr<T, Deleter>;
};
using Chip = Freed<gpiod_chip, gpiod_chip_close>::Pointer;
using ChipInfo = Freed<gpiod_chip_info, gpiod_chip_info_free>::Pointer;
using LineInfo = Freed<gpiod_line_info, gpiod_line_info_free>::Pointer;
using Settings = Freed<gpiod_line_settings, gpiod_line_settings_free>::Pointer;
using LineConfig = Freed<gpiod_line_config, gpiod_line_config_free>::Pointer;
using RequestConfig = Freed<gpiod_request_config, gpiod_request_config_free>::Pointer;
using Request = Freed<gpiod_line_request, gpiod_line_request_release>::Pointer;
using EventBuffer = Freed<gpiod_edge_event_buffer, gpiod_edge_event_buffer_free>::Pointer;

[[noreturn]] void fail(const char* what) {
  throw std::system_error(errno, std::generic_category(), what);
}
void demand(int status, const char* what) {
  if (status != 0) fail(what);
}

constexpr gpiod_line_value value(bool active) noexcept {
  return active ? GPIOD_LINE_VALUE_ACTIVE : GPIOD_LINE_VALUE_INACTIVE;
}

enum class Use { sensed, watched, driven };

Settings settings_of(const LineRequest& line, Use use, bool active) {
  Settings settings(gpiod_line_settings_new());
  if (!settings) fail("gpiod_line_settings_new");
  gpiod_line_settings* s = settings.get();
  demand(gpiod_line_settings_set_direction(
             s, use == Use::driven ? GPIOD_LINE_DIRECTION_OUTPUT : GPIOD_LINE_DIRECTION_INPUT),
         "gpiod_line_settings_set_direction");
  if (use == Use::watched) {
    demand(gpiod_line_settings_set_edge_detection(s, GPIOD_LINE_EDGE_BOTH),
           "gpiod_line_settings_set_edge_detection");
    demand(gpiod_line_settings_set_event_clock(s, GPIOD_LINE_CLOCK_MONOTONIC),
           "gpiod_line_settings_set_event_clock");
  }
  if (use == Use::driven) {
    constexpr std::array drives{GPIOD_LINE_DRIVE_PUSH_PULL, GPIOD_LINE_DRIVE_OPEN_DRAIN,
                                GPIOD_LINE_DRIVE_OPEN_SOURCE};
    demand(gpiod_line_settings_set_drive(s, drives[static_cast<std::size_t>(line.drive)]),
           "gpiod_line_settings_set_drive");
    demand(gpiod_line_settings_set_output_value(s, value(active)),
           "gpiod_line_settings_set_output_value");
  }
  constexpr std::array biases{GPIOD_LINE_BIAS_AS_IS, GPIOD_LINE_BIAS_DISABLED,
                              GPIOD_LINE_BIAS_PULL_UP, GPIOD_LINE_BIAS_PULL_DOWN};
  demand(gpiod_line_settings_set_bias(s, biases[static_cast<std::size_t>(line.bias)]),
         "gpiod_line_settings_set_bias");
  gpiod_line_settings_set_active_low(s, line.active_low);
  return settings;
}

LineConfig config_of(std::span<const LineRequest> lines, Use use, std::uint32_t active) {
  LineConfig config(gpiod_line_config_new());
  if (!config) fail("gpiod_line_config_new");
  for (std::size_t k = 0; k < lines.size(); ++k) {
    const Settings settings = settings_of(lines[k], use, (active >> k & 1) != 0);
    demand(gpiod_line_config_add_line_settings(config.get(), &lines[k].offset, 1, settings.get()),
           "gpiod_line_config_add_line_settings");
  }
  return config;
}

Request request(const std::string& path, gpiod_line_config* lines, std::size_t queue) {
  const Chip chip(gpiod_chip_open(path.c_str()));
  if (!chip) fail("gpiod_chip_open");
  const RequestConfig config(gpiod_request_config_new());
  if (!config) fail("gpiod_request_config_new");
  gpiod_request_config_set_consumer(config.get(), consumer);
  gpiod_request_config_set_event_buffer_size(config.get(), queue);
  Request made(gpiod_chip_request_lines(chip.get(), config.get(), lines));
  if (!made) fail("gpiod_chip_request_lines");
  return made;
}

std::vector<unsigned> offsets_of(std::span<const LineRequest> lines) {
  std::vector<unsigned> offsets;
  for (const LineRequest& line : lines) offsets.push_back(line.offset);
  return offsets;
}

class Watched : public WatchedLines {
 public:
  Watched(const std::string& chip, std::span<const LineRequest> lines, bool edges)
      : offsets_(offsets_of(lines)),
        request_(
            request(chip, config_of(lines, edges ? Use::watched : Use::sensed, 0).get(), queue)) {
    if (!edges) return;
    buffer_.reset(gpiod_edge_event_buffer_new(RawEdges::most));
    if (!buffer_) fail("gpiod_edge_event_buffer_new");
    descriptor_.push_back(gpiod_line_request_get_fd(request_.get()));
  }
  std::span<const int> descriptors() const noexcept override { return descriptor_; }

  bool read(std::size_t, RawEdges& out) noexcept override {
    const std::size_t room = RawEdges::most - out.count;
    if (room == 0) return true;
    const int count = gpiod_line_request_read_edge_events(request_.get(), buffer_.get(), room);
    if (count < 0) return false;
    for (int k = 0; k < count; ++k) {
      gpiod_edge_event* event =
          gpiod_edge_event_buffer_get_event(buffer_.get(), static_cast<unsigned long>(k));
      out.edges[out.count++] = {
          static_cast<std::int64_t>(gpiod_edge_event_get_timestamp_ns(event)),
          position(gpiod_edge_event_get_line_offset(event)),
          gpiod_edge_event_get_event_type(event) == GPIOD_EDGE_EVENT_RISING_EDGE,
          static_cast<std::uint32_t>(gpiod_edge_event_get_line_seqno(event))};
    }
    return true;
  }

  bool sense(std::uint32_t& active) noexcept override {
    std::array<gpiod_line_value, most_lines> values{};
    if (gpiod_line_request_get_values_subset(request_.get(), offsets_.size(), offsets_.data(),
                                             values.data()) != 0)
      return false;
    active = 0;
    for (std::size_t k = 0; k < offsets_.size(); ++k)
      if (values[k] == GPIOD_LINE_VALUE_ACTIVE) active |= 1U << k;
    return true;
  }

 private:
  static constexpr std::size_t queue = 1024;  // the kernel's greatest: 16 x GPIO_V2_LINES_MAX

  std::uint16_t position(unsigned offset) const noexcept {
    std::size_t k = 0;
    while (k + 1 < offsets_.size() && offsets_[k] != offset) ++k;
    return static_cast<std::uint16_t>(k);
  }

  std::vector<unsigned> offsets_;
  Request request_;
  EventBuffer buffer_;
  std::vector<int> descriptor_;
};

/// Lines that may be let go: one alone, so that each of its three states is a configuration made
/// beforehand, and changing it allocates nothing.
class Releasable : public DrivenLines {
 public:
  Releasable(const std::string& chip, std::span<const LineRequest> line)
      : off_(config_of(line, Use::driven, 0)),
        on_(config_of(line, Use::driven, 1)),
        input_(config_of(line, Use::sensed, 0)),
        request_(request(chip, input_.get(), 0)) {}

  bool drive(std::uint32_t active) noexcept override {
    return change_to(active != 0 ? on_.get() : off_.get());
  }
  bool let_go() noexcept override { return change_to(input_.get()); }

 private:
  bool change_to(gpiod_line_config* config) noexcept {
    return gpiod_line_request_reconfigure_lines(request_.get(), config) == 0;
  }
  LineConfig off_, on_, input_;
  Request request_;
};

class Driven : public DrivenLines {
 public:
  Driven(const std::string& chip, std::span<const LineRequest> lines, std::uint32_t active)
      : offsets_(offsets_of(lines)),
        request_(request(chip, config_of(lines, Use::driven, active).get(), 0)) {}

  bool drive(std::uint32_t active) noexcept override {
    std::array<gpiod_line_value, most_lines> values{};
    for (std::size_t k = 0; k < offsets_.size(); ++k) values[k] = value((active >> k & 1) != 0);
    return gpiod_line_request_set_values_subset(request_.get(), offsets_.size(), offsets_.data(),
                                                values.data()) == 0;
  }
  bool let_go() noexcept override { return false; }

 private:
  std::vector<unsigned> offsets_;
  Request request_;
};

class Library2 : public Library {
 public:
  std::string version() const override { return gpiod_api_version(); }

  std::vector<ChipState> chips() override {
    std::vector<ChipState> all;
    for (const std::string& path : chip_devices()) {
      const Chip chip(gpiod_chip_open(path.c_str()));
      if (!chip) continue;
      const ChipInfo info(gpiod_chip_get_info(chip.get()));
      if (!info) continue;
      ChipState state{
          path, gpiod_chip_info_get_name(info.get()), gpiod_chip_info_get_label(info.get()), {}};
      for (unsigned k = 0; k < gpiod_chip_info_get_num_lines(info.get()); ++k) {
        const LineInfo line(gpiod_chip_get_line_info(chip.get(), k));
        if (!line) break;
        const char* name = gpiod_line_info_get_name(line.get());
        const char* user = gpiod_line_info_get_consumer(line.get());
        state.lines.push_back({name != nullptr ? name : "", user != nullptr ? user : "",
                               gpiod_line_info_is_used(line.get())});
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
    if (released) return std::make_unique<Releasable>(chip, lines);
    return std::make_unique<Driven>(chip, lines, active);
  }
};

}  // namespace

std::unique_ptr<Library> make_library() { return std::make_unique<Library2>(); }

}  // namespace stillrotor::io::gpiod
