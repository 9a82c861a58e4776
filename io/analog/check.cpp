// What of the settings can be refused before anything is opened.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>
#include <set>

#include "io/analog/analog.hpp"
#include "io/analog/calibration.hpp"
#include "io/analog/spi_inputs.hpp"

namespace stillrotor::io {
namespace {

std::string number(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.6g", value);
  return text;
}

/// One setting and what it is compared with; path is that of the device.
class Device {
 public:
  explicit Device(std::string path) : path_(std::move(path)) {}

  [[noreturn]] void refuse(const std::string& name, const std::string& what) const {
    throw ConfigError(path_ + "." + name, what);
  }
  void between(const std::string& name, double value, double least, double most,
               const std::string& remedy) const {
    if (value >= least && value <= most) return;  // refuses what is no number, too
    refuse(name, name + " is " + number(value) + "; allowed " + number(least) + " to " +
                     number(most) + ". " + remedy);
  }
  void calibration(const std::string& name, const CalibrationPoints& points) const {
    if (points.size() == 1)
      refuse(name, "one calibration point says nothing of the slope; measure two or more.");
    for (std::size_t k = 1; k < points.size(); ++k)
      if (!(points[k].shown_V > points[k - 1].shown_V && points[k].true_V > points[k - 1].true_V))
        refuse(name, "calibration point " + std::to_string(k + 1) + " (" +
                         number(points[k].shown_V) + " V shown, " + number(points[k].true_V) +
                         " V true) does not rise over the one before; both columns must. Measure "
                         "again, or drop the point.");
  }
  void scale(const std::string& name, double value) const {
    if (std::isfinite(value) && value != 0.0) return;
    refuse(name, "scale is " + number(value) +
                     "; any number but 0 is allowed: volts at the wire "
                     "per volt at the part.");
  }

 private:
  std::string path_;
};

template <class Part>
void check_bus(const Device& device, const Part& part, const SpiBus& bus) {
  device.between("frame_bytes", part.frame_bytes, 1, 4, "Take it from the part's data sheet.");
  device.between("bits", part.bits, 8, 16, "Take it from the part's data sheet.");
  device.between("mode", part.mode, 0, 3, "Take it from the part's data sheet.");
  device.between("address_bits", part.address_bits, 0, 8, "Take it from the part's data sheet.");
  device.between("address_shift", part.address_shift, 0, 8 * part.frame_bytes - part.address_bits,
                 "The address must lie inside the frame.");
  device.between("clock", bus.clock_Hz, 1e3, part.clock_most_Hz,
                 "The part takes no more; long wires take less.");
  device.between("gap", bus.gap_s, 0.0, 1e-3, "The kernel's is 10 us.");
  device.between("message", bus.message_s, 0.0, 10e-3, "Some 15 us is usual.");
}

template <class Channel>
void check_addresses(const Device& device, int address_bits, const std::vector<Channel>& channels) {
  std::set<std::uint32_t> used;
  for (const Channel& channel : channels) {
    device.between("address", channel.address, 0.0, std::ldexp(1.0, address_bits) - 1.0,
                   "It must fit into the frame's address bits.");
    if (!used.insert(channel.address).second)
      device.refuse("address", "address " + std::to_string(channel.address) +
                                   " is used twice; give each channel its own.");
  }
}

void check_output(const Device& device, const SpiDacConfig& dac, const AnalogOutput& output) {
  const std::string name = "outputs." + std::string(io::name(output.channel));
  device.scale(name + ".scale", output.scale);
  device.calibration(name + ".calibration", output.calibration);
  const OutputScale scale(dac, output);
  const std::string range = number(scale.least_V()) + " V to " + number(scale.most_V()) + " V";
  if (!(scale.least_V() < scale.most_V()))
    device.refuse(name, "between its limits and the part's range nothing is left (" + range +
                            "); widen `least` and `most`, or correct `scale` and `shift`.");
  if (std::isnan(output.safe_V))
    device.refuse(name + ".safe",
                  "no safe level; state what the wire shows while the bench does not run. For a "
                  "current channel that is its zero-current offset, not 0 V.");
  if (output.safe_V < scale.least_V() || output.safe_V > scale.most_V())
    device.refuse(name + ".safe", "safe is " + number(output.safe_V) + " V; the part reaches " +
                                      range + " there. Correct it, or `scale` and `shift`.");
}

void check_dac(const Device& device, const SpiDacConfig& dac, std::set<ChannelId>& wired) {
  check_bus(device, dac.part, dac.bus);
  device.between("code_shift", dac.part.code_shift, 0, 8 * dac.part.frame_bytes - dac.part.bits,
                 "The code must lie inside the frame.");
  device.between("settling", dac.part.settling_s, 0.0, 0.1, "Take it from the part's data sheet.");
  device.between("reference", dac.reference_V, 0.1, 30.0, "Measure the part's reference.");
  device.between("gain", dac.gain, 0.01, 100.0, "1 where the part has no output amplifier.");
  device.between("outputs", static_cast<double>(dac.outputs.size()), 1, InputRound::most_inputs,
                 "Leave out a converter that serves no channel.");
  check_addresses(device, dac.part.address_bits, dac.outputs);
  for (const AnalogOutput& output : dac.outputs) {
    check_output(device, dac, output);
    if (!wired.insert(output.channel).second)
      device.refuse("outputs",
                    std::string(name(output.channel)) + " is wired to two outputs; give it one.");
  }
}

void check_inputs(const Device& device, const std::vector<AnalogInput>& inputs,
                  std::set<std::string>& names) {
  device.between("inputs", static_cast<double>(inputs.size()), 1, InputRound::most_inputs,
                 "Leave out a converter that serves no input.");
  for (const AnalogInput& input : inputs) {
    device.scale(input.name + ".scale", input.scale);
    device.calibration(input.name + ".calibration", input.calibration);
    device.between(input.name + ".filter", input.filter_s, 0.0, 10.0, "R times C.");
    if (!names.insert(input.name).second)
      device.refuse("inputs", "two inputs are named '" + input.name + "'; rename one.");
  }
}

}  // namespace

void check(const AnalogConfig& config) {
  const auto path = [](const char* kind, std::size_t k) {
    return std::string("controller.analog.") + kind + "." + std::to_string(k);
  };
  const Device all("controller.analog");
  all.between("priority", config.priority, 0, 98, "0 is an ordinary thread.");
  all.between("wake", config.wake_s, 0.0, 10e-3, "cyclictest measures it.");
  all.between("stalled_after", config.stalled_after_stores, 2, 10'000,
              "So many stores of the cycle without one finished transfer.");
  std::set<ChannelId> wired;
  std::set<std::string> names;
  for (std::size_t k = 0; k < config.dacs.size(); ++k)
    check_dac(Device(path("dacs", k)), config.dacs[k], wired);
  for (std::size_t k = 0; k < config.adcs.size(); ++k) {
    const Device device(path("adcs", k));
    const SpiAdcConfig& adc = config.adcs[k];
    check_bus(device, adc.part, adc.bus);
    device.between("result_shift", adc.part.result_shift, 0,
                   8 * adc.part.frame_bytes - adc.part.bits,
                   "The result must lie inside the frame.");
    device.between("frames_late", adc.part.frames_late, 0, 2, "Take it from the data sheet.");
    device.between("reference", adc.reference_V, 0.1, 30.0, "Measure the part's reference.");
    device.between("gain", adc.gain, 0.01, 1000.0, "1 where the part has no amplifier.");
    device.between("period", adc.period_s, 50e-6, 1.0, "For slow inputs 1 ms is plenty.");
    check_inputs(device, adc.inputs, names);
    check_addresses(device, adc.part.address_bits, adc.inputs);
  }
  for (std::size_t k = 0; k < config.iio.size(); ++k) {
    const Device device(path("iio", k));
    const IioConfig& iio = config.iio[k];
    if (iio.device.empty() || iio.device.find('/') != std::string::npos)
      device.refuse("device", "device is '" + iio.device +
                                  "'; allowed a name such as iio:device0, or what its file `name` "
                                  "says.");
    device.between("sampling", iio.sampling_Hz, 0.0, 1e6, "0 leaves it as it stands.");
    device.between("buffer", iio.buffer_scans, 2, 65536, "64 scans are plenty.");
    device.between("watermark", iio.watermark_scans, 1, iio.buffer_scans,
                   "1 brings every scan at once.");
    check_inputs(device, iio.inputs, names);
    check_addresses(device, 8, iio.inputs);
  }
}

}  // namespace stillrotor::io
