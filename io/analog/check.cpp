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
  device.between("frame.bytes", part.frame_bytes, 1, 4, "Take it from the part's data sheet.");
  device.between("frame.bits", part.bits, 8, 16, "Take it from the part's data sheet.");
  device.between("frame.mode", part.mode, 0, 3, "Take it from the part's data sheet.");
  device.between("frame.address_bits", part.address_bits, 0, 8,
                 "Take it from the part's data sheet.");
  device.between("frame.address_shift", part.address_shift, 0,
                 8 * part.frame_bytes - part.address_bits,
                 "The address must lie inside the frame.");
  device.between("clock", bus.clock_Hz, 1e3, part.clock_most_Hz,
                 "The part takes no more; long wires take less.");
  device.between("frame_gap", bus.gap_s, 0.0, 1e-3, "The kernel's is 10 us.");
  device.between("message_time", bus.message_s, 0.0, 10e-3, "Some 15 us is usual.");
}

/// Each channel of a converter has an address of its own that fits into the frame.
class Addresses {
 public:
  explicit Addresses(int bits) : most_(std::ldexp(1.0, bits) - 1.0) {}
  void take(const Device& wire, std::uint32_t address) {
    wire.between("address", address, 0.0, most_, "It must fit into the frame's address bits.");
    if (!used_.insert(address).second)
      wire.refuse("address", "address " + std::to_string(address) +
                                 " is used twice on this converter; give each wire its own.");
  }

 private:
  double most_;
  std::set<std::uint32_t> used_;
};

void check_output(const SpiDacConfig& dac, const AnalogOutput& output) {
  const Device wire("harness.channels." + std::string(io::name(output.channel)));
  wire.scale("scale", output.scale);
  wire.calibration("calibration", output.calibration);
  const OutputScale scale(dac, output);
  const std::string range = number(scale.least_V()) + " V to " + number(scale.most_V()) + " V";
  if (!(scale.least_V() < scale.most_V()))
    wire.refuse("most", "between its limits and the part's range nothing is left (" + range +
                            "); widen `least` and `most`, or correct `scale` and `shift`.");
  if (std::isnan(output.safe_V))
    wire.refuse("safe",
                "no safe level; state what the wire shows while the bench does not run. For a "
                "current channel that is its zero-current offset, not 0 V.");
  if (output.safe_V < scale.least_V() || output.safe_V > scale.most_V())
    wire.refuse("safe", "safe is " + number(output.safe_V) + " V; allowed " + range +
                            ", which limits and part leave. Correct it, or `least`, `most`, "
                            "`scale` and `shift`.");
}

std::uint32_t mask(int bits, int shift) {
  return static_cast<std::uint32_t>(((std::uint64_t{1} << bits) - 1) << shift);
}
/// What stands in a frame stands beside each other.
void check_apart(const Device& device, const char* name, std::uint32_t word, std::uint32_t others) {
  if ((word & others) != 0)
    device.refuse(name, std::string(name) +
                            " has bits where address or code stand; allowed only beside "
                            "them. Compare it with the data sheet's figure of the frame.");
}

void check_dac(const Device& device, const SpiDacConfig& dac) {
  check_bus(device, dac.part, dac.bus);
  device.between("frame.code_shift", dac.part.code_shift, 0,
                 8 * dac.part.frame_bytes - dac.part.bits, "The code must lie inside the frame.");
  const std::uint32_t code = mask(dac.part.bits, dac.part.code_shift),
                      address = mask(dac.part.address_bits, dac.part.address_shift);
  check_apart(device, "frame.address_shift", address, code);
  check_apart(device, "frame.write", dac.part.write, code | address);
  check_apart(device, "frame.write_and_update", dac.part.write_and_update_all.value_or(0),
              code | address);
  device.between("frame.settling", dac.part.settling_s, 0.0, 0.1,
                 "Take it from the part's data sheet.");
  device.between("reference", dac.reference_V, 0.1, 30.0, "Measure the part's reference.");
  device.between("gain", dac.gain, 0.01, 100.0, "1 where the part has no output amplifier.");
}

void check_adc(const Device& device, const SpiAdcConfig& adc) {
  check_bus(device, adc.part, adc.bus);
  device.between("frame.result_shift", adc.part.result_shift, 0,
                 8 * adc.part.frame_bytes - adc.part.bits, "The result must lie inside the frame.");
  check_apart(device, "frame.convert", adc.part.convert,
              mask(adc.part.address_bits, adc.part.address_shift));
  device.between("frame.frames_late", adc.part.frames_late, 0, 2, "Take it from the data sheet.");
  device.between("reference", adc.reference_V, 0.1, 30.0, "Measure the part's reference.");
  device.between("gain", adc.gain, 0.01, 1000.0, "1 where the part has no amplifier.");
  device.between("period", adc.period_s, 50e-6, 1.0, "For slow inputs 1 ms is plenty.");
}

void check_iio(const Device& device, const IioConfig& iio) {
  if (iio.device.empty() || iio.device.find('/') != std::string::npos)
    device.refuse("device", "device is '" + iio.device +
                                "'; allowed a name such as iio:device0, or what its file `name` "
                                "says.");
  device.between("sampling", iio.sampling_Hz, 0.0, 1e6, "0 leaves it as it stands.");
  device.between("buffer", iio.buffer_scans, 2, 65536, "64 scans are plenty.");
  device.between("watermark", iio.watermark_scans, 1, iio.buffer_scans,
                 "1 brings every scan at once.");
}

/// Collects one complaint for each converter and for each wire.
class Faults {
 public:
  std::vector<ConfigError> found;

  template <class Check>
  bool passes(Check check) {
    try {
      check();
      return true;
    } catch (const ConfigError& error) {
      found.push_back(error);
      return false;
    }
  }

  void outputs(const Device& device, const SpiDacConfig& dac) {
    passes([&] { some(device, dac.outputs.size(), "serves no channel"); });
    Addresses addresses(dac.part.address_bits);
    for (const AnalogOutput& output : dac.outputs)
      passes([&] {
        const Device wire("harness.channels." + std::string(name(output.channel)));
        addresses.take(wire, output.address);
        if (!wired_.insert(output.channel).second)
          wire.refuse("converter", "it is wired to two outputs; give it one.");
        check_output(dac, output);
      });
  }

  void inputs(const Device& device, int address_bits, const std::vector<AnalogInput>& inputs) {
    passes([&] { some(device, inputs.size(), "serves no input"); });
    Addresses addresses(address_bits);
    for (const AnalogInput& input : inputs)
      passes([&] {
        const Device wire("harness.lines." + input.name);
        addresses.take(wire, input.address);
        wire.scale("scale", input.scale);
        wire.calibration("calibration", input.calibration);
        wire.between("filter", input.filter_s, 0.0, 10.0, "R times C.");
        if (!names_.insert(input.name).second)
          wire.refuse("converter", "two inputs are named '" + input.name + "'; rename one.");
      });
  }

  /// What one process opens once.
  void device(const Device& device, const std::string& what) {
    passes([&] {
      if (!devices_.insert(what).second)
        device.refuse("device", what +
                                    " serves another converter already; allowed one each. "
                                    "Give this one its own device, or its wires to the other.");
    });
  }

 private:
  static void some(const Device& device, std::size_t wires, const std::string& none) {
    if (wires == 0) device.refuse("device", "this converter " + none + "; leave it out.");
    if (wires > InputRound::most_inputs)
      device.refuse("device", "this converter serves " + std::to_string(wires) +
                                  " wires; allowed " + std::to_string(InputRound::most_inputs) +
                                  ". Spread them over two.");
  }

  std::set<ChannelId> wired_;
  std::set<std::string> names_, devices_;
};

}  // namespace

std::vector<ConfigError> faults(const AnalogConfig& config) {
  Faults all;
  all.passes([&] {
    const Device common("converters");
    common.between("priority", config.priority, 0, 98, "0 is an ordinary thread.");
    common.between("wake", config.wake_s, 0.0, 10e-3, "cyclictest measures it.");
    common.between("stalled_after", config.stalled_after_stores, 2, 10'000,
                   "So many stores of the cycle without one finished transfer.");
    common.between("stalled_after", config.stalled_after_stores, config.late_after_stores, 10'000,
                   "A transfer takes so many of the cycle's periods by its own settings.");
  });
  for (const SpiDacConfig& dac : config.dacs) {
    const Device device("converters." + dac.name);
    all.device(device, dac.bus.device);
    if (all.passes([&] { check_dac(device, dac); })) all.outputs(device, dac);
  }
  for (const SpiAdcConfig& adc : config.adcs) {
    const Device device("converters." + adc.name);
    all.device(device, adc.bus.device);
    if (all.passes([&] { check_adc(device, adc); }))
      all.inputs(device, adc.part.address_bits, adc.inputs);
  }
  for (const IioConfig& iio : config.iio) {
    const Device device("converters." + iio.name);
    all.device(device, iio.device);
    if (all.passes([&] { check_iio(device, iio); })) all.inputs(device, 8, iio.inputs);
  }
  return all.found;
}

void check(const AnalogConfig& config) {
  const std::vector<ConfigError> found = faults(config);
  if (!found.empty()) throw found.front();
}

}  // namespace stillrotor::io
