#include "io/analog/iio_inputs.hpp"

#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include <cerrno>
#include <cmath>
#include <cstring>
#include <fstream>

namespace stillrotor::io {
namespace {

namespace fs = std::filesystem;

std::string first_line(const fs::path& file, bool& good) {
  std::ifstream in(file);
  std::string line;
  good = static_cast<bool>(std::getline(in, line));
  return line;
}

}  // namespace

IioInputs::IioInputs(IioConfig config, BusSeat seat)
    : config_(std::move(config)), setting_("converters." + config_.name), seat_(seat) {}

std::string IioInputs::text(const fs::path& file) const {
  bool good = false;
  const std::string line = first_line(folder_ / file, good);
  if (!good)
    throw ConfigError(setting_, "cannot read " + (folder_ / file).string() +
                                    ". The device does not offer it: choose another input.");
  return line;
}

void IioInputs::write(const fs::path& file, const std::string& value) const {
  std::ofstream out(folder_ / file);
  out << value << std::flush;
  if (!out)
    throw ConfigError(setting_, "cannot write '" + value + "' to " + (folder_ / file).string() +
                                    ": " + std::strerror(errno) +
                                    ". Either the device does not take the value, or something "
                                    "else has its buffer on, or your user may not write there.");
}

void IioInputs::find_folder() {
  std::error_code error;
  std::string there;
  for (const auto& entry : fs::directory_iterator(config_.sysfs, error)) {
    bool named = false;
    const std::string name = first_line(entry.path() / "name", named);
    if (entry.path().filename() == config_.device || (named && name == config_.device)) {
      folder_ = entry.path();
      return;
    }
    if (named) there += " " + entry.path().filename().string() + " (" + name + ")";
  }
  throw ConfigError(setting_ + ".device", "no IIO device '" + config_.device + "'; there is" +
                                              (there.empty() ? " none" : ":" + there) +
                                              ". Load its driver (device tree or overlay).");
}

void IioInputs::set_up_scan() {
  write("buffer/enable", "0");  // nothing else can be changed while it runs
  for (const auto& entry : fs::directory_iterator(folder_ / "scan_elements"))
    if (entry.path().filename().string().ends_with("_en"))
      write(fs::path("scan_elements") / entry.path().filename(), "0");

  const auto take = [this](const std::string& name) {
    const fs::path element = fs::path("scan_elements") / name;
    write(element.string() + "_en", "1");
    try {
      return parse_iio_type(text(element.string() + "_type"),
                            std::stoi(text(element.string() + "_index")));
    } catch (const std::logic_error& bad) {
      throw ConfigError(setting_, name + ": " + bad.what());
    }
  };
  elements_.clear();
  scales_.clear();
  for (const AnalogInput& input : config_.inputs) {
    const std::string name = "in_voltage" + std::to_string(input.address);
    if (!fs::exists(folder_ / "scan_elements" / (name + "_en")))
      throw ConfigError(setting_, name + " of " + config_.device + " cannot be buffered; ls " +
                                      (folder_ / "scan_elements").string() + " shows which can.");
    elements_.push_back(take(name));
    // Volts = (count + offset) scale / 1000; each for the channel, or for all of its kind.
    const auto number = [this, &name](const std::string& what, double otherwise) {
      bool good = false;
      for (const std::string& file : {name + what, "in_voltage" + what})
        if (const std::string line = first_line(folder_ / file, good); good)
          return std::strtod(line.c_str(), nullptr);
      return otherwise;
    };
    const double scale = number("_scale", 0.0);
    if (!(scale > 0.0))
      throw ConfigError(setting_, name + " of " + config_.device +
                                      " has no scale; its reference voltage is missing in the "
                                      "device tree.");
    scales_.emplace_back(input, scale / 1000.0, number("_offset", 0.0));
  }
  if (!config_.trigger.empty()) write("trigger/current_trigger", config_.trigger);
  if (config_.sampling_Hz > 0.0)
    write("sampling_frequency", std::to_string(std::lround(config_.sampling_Hz)));
  stamp_.reset();
  if (fs::exists(folder_ / "scan_elements/in_timestamp_en") &&
      fs::exists(folder_ / "current_timestamp_clock")) {
    write("current_timestamp_clock", "monotonic");
    stamp_ = take("in_timestamp");
  }
  std::vector<IioElement*> all;
  for (IioElement& element : elements_) all.push_back(&element);
  if (stamp_) all.push_back(&*stamp_);
  scan_bytes_ = lay_out(all);
  write("buffer/length", std::to_string(config_.buffer_scans));
  if (fs::exists(folder_ / "buffer/watermark"))
    write("buffer/watermark", std::to_string(config_.watermark_scans));
}

void IioInputs::open() {
  find_folder();
  set_up_scan();
  const fs::path device = fs::path(config_.dev) / folder_.filename();
  file_ = ::open(device.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC);
  if (file_ < 0)
    throw ConfigError(setting_ + ".device", "cannot open " + device.string() + ": " +
                                                std::strerror(errno) +
                                                ". Something else reads it, or your user may not.");
  write("buffer/enable", "1");
  read_.resize(scan_bytes_ * static_cast<std::size_t>(config_.buffer_scans + 1));
  thread_ = start_bus_thread(seat_, [this] { run(); });
}

void IioInputs::close() noexcept {
  if (thread_.joinable()) {
    closing_.store(true);
    thread_.join();
  }
  if (file_ < 0) return;
  ::close(file_);
  file_ = -1;
  std::ofstream(folder_ / "buffer/enable") << "0";
}

void IioInputs::run() noexcept {
  constexpr int look_up_ms = 50;  // so long a close() may have to wait
  std::size_t have = 0;
  while (!closing_.load()) {
    pollfd file{.fd = file_, .events = POLLIN, .revents = 0};
    const int ready = poll(&file, 1, look_up_ms);
    if (ready == 0) continue;
    const ssize_t got = ready < 0 ? ready : ::read(file_, read_.data() + have, read_.size() - have);
    if (got < 0 && (errno == EAGAIN || errno == EINTR)) continue;
    if (got <= 0) {
      // Gone, or at its end: the reading grows old, and its age says so.
      tally_.add(got < 0 ? errno : ENODATA, 0);
      poll(nullptr, 0, look_up_ms);
      continue;
    }
    have += static_cast<std::size_t>(got);
    const std::int64_t now_ns = monotonic_ns();
    const std::size_t scans = have / scan_bytes_;
    if (scans > 0) take_scan(read_.data() + (scans - 1) * scan_bytes_, now_ns);
    for (std::size_t k = 0; k < scans; ++k) tally_.add(0, 0);
    have -= scans * scan_bytes_;
    std::memmove(read_.data(), read_.data() + scans * scan_bytes_, have);
  }
}

void IioInputs::take_scan(const std::uint8_t* scan, std::int64_t now_ns) noexcept {
  InputRound round;
  round.at_ns = stamp_ ? count(*stamp_, scan) : now_ns;
  for (std::size_t k = 0; k < elements_.size(); ++k)
    round.volts[k] = scales_[k].wire_V(static_cast<double>(count(elements_[k], scan)));
  mailbox_.put(round);
}

}  // namespace stillrotor::io
