// Rows of the parameter table: converters between a bench and a controller on real wires, and which
// wire ends at which of them.
#include <fmt/format.h>

#include <functional>

#include "emulator/bench/highest_priority.hpp"
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

using namespace rows;

const std::vector<std::string> byte_orders{"high", "low"};

/// The rows of one converter, or of one wire's end: all of them reach into T.
template <class T>
class RowsOf {
 public:
  RowsOf(std::string path, std::function<T&(Draft&)> at, std::vector<Parameter>& all)
      : path_(std::move(path)), at_(std::move(at)), all_(all) {}

  void real(const char* name, auto member, Family family, Range range, Wanted wanted,
            std::string what) const {
    add(rows::real(path(name), reach<double>(member), family, std::move(range), std::move(wanted),
                   std::move(what), role::lines));
  }
  void whole(const char* name, auto member, int least, int most, Wanted wanted,
             std::string what) const {
    add(rows::whole(path(name), reach<int>(member), least, most, std::move(wanted), std::move(what),
                    role::lines));
  }
  void choice(const char* name, auto member, std::vector<std::string> words, Wanted wanted,
              std::string what) const {
    add(rows::choice(path(name), reach<int>(member), std::move(words), std::move(wanted),
                     std::move(what), role::lines));
  }
  void text(const char* name, auto member, std::string form, Wanted wanted,
            std::string what) const {
    add(rows::text(path(name), reach<std::string>(member), std::move(form), std::move(wanted),
                   std::move(what), role::lines));
  }

 private:
  std::string path(const char* name) const { return path_ + "." + name; }
  template <class V>
  Access<V> reach(auto member) const {
    return [at = at_, member](Draft& d) -> V& { return member(at(d)); };
  }
  void add(Parameter parameter) const { all_.push_back(std::move(parameter)); }

  std::string path_;
  std::function<T&(Draft&)> at_;
  std::vector<Parameter>& all_;
};

/// The accessor of a member of whatever the rows reach into.
#define IN(member) \
  [](auto& d) -> auto& { return d.member; }

const Wanted of_the_part = follows("the part");

void add_spi(const auto& rows) {
  rows.text("device", IN(config.bus.device), "a device, such as /dev/spidev0.0", optional,
            "the bus and its select line");
  rows.real("clock", IN(config.bus.clock_Hz), Family::frequency, between("1 kHz", "50 MHz"),
            follows("the part's greatest, 10 MHz at most"), "of the bus");
  rows.real("frame_gap", IN(config.bus.gap_s), Family::time, between("0 s", "1 ms"),
            by_default("10 us"), "between two frames; the kernel's own is 10 us");
  rows.real("message_time", IN(config.bus.message_s), Family::time, between("0 s", "10 ms"),
            by_default("15 us"), "that system call and driver take for one message");
  rows.real("reference", IN(config.reference_V), Family::voltage, between("0.1 V", "30 V"),
            optional, "as measured; with gain it gives the part's range");
}

/// What data sheets say about a frame, the same for both directions.
void add_frame(const auto& rows) {
  rows.whole("frame.bits", IN(config.part.bits), 8, 16, of_the_part, "of a code");
  rows.whole("frame.bytes", IN(config.part.frame_bytes), 1, 4, of_the_part,
             "of a frame: what goes over the bus between one select and the next");
  rows.choice("frame.first_byte", IN(low_byte_first), byte_orders, of_the_part,
              "the byte of a frame that goes first");
  rows.whole("frame.address_shift", IN(config.part.address_shift), 0, 31, of_the_part,
             "bits below the address");
  rows.whole("frame.address_bits", IN(config.part.address_bits), 0, 8, of_the_part,
             "of the address");
  rows.whole("frame.mode", IN(config.part.mode), 0, 3, of_the_part, "of SPI");
  rows.real("frame.clock_most", IN(config.part.clock_most_Hz), Family::frequency,
            between("1 kHz", "100 MHz"), of_the_part, "that the part takes");
}

void add_dac(std::vector<Parameter>& all, std::size_t k) {
  const RowsOf<DacDraft> rows(
      fmt::format("converters.{}", dac_names[k]),
      [k](Draft& d) -> DacDraft& { return d.converters.dac[k]; }, all);
  const char* const word = "a word, such as 0x3000";
  rows.text("part", IN(config.part.name), "a part number", optional,
            fmt::format("known: {}; another one is described by frame", io::known_dac_parts()));
  add_spi(rows);
  rows.real("gain", IN(config.gain), Family::ratio, between("0.01", "100"), by_default("1"),
            "of the part's output amplifier");
  rows.text("latch.chip", IN(latch_chip), "a chip's device, such as /dev/gpiochip0", optional,
            "of the line on whose pulse all outputs change together");
  rows.whole("latch.offset", IN(latch_offset), 0, 65'535, optional, "that line's number on it");
  rows.choice("latch.active", IN(latch_active_high), {"low", "high"}, by_default("low"),
              "level of the pulse");
  add_frame(rows);
  rows.whole("frame.code_shift", IN(config.part.code_shift), 0, 24, of_the_part,
             "bits below the code");
  rows.text("frame.write", IN(write), word, of_the_part,
            "the other bits of a frame that writes one channel");
  rows.text("frame.write_and_update", IN(write_and_update), word, of_the_part,
            "the same, and all channels then change at once; absent: there is no such frame");
  rows.text("frame.start", IN(start), "words with commas between, such as \"0x8000001, 0x40\"",
            of_the_part, "frames sent once at set-up, such as one for the internal reference");
  rows.real("frame.settling", IN(config.part.settling_s), Family::time, between("0 s", "100 ms"),
            of_the_part, "of an output, after its frame");
}

void add_adc(std::vector<Parameter>& all, std::size_t k) {
  const RowsOf<AdcDraft> rows(
      fmt::format("converters.{}", adc_names[k]),
      [k](Draft& d) -> AdcDraft& { return d.converters.adc[k]; }, all);
  rows.text("part", IN(config.part.name), "a part number", optional,
            fmt::format("known: {}; another one is described by frame", io::known_adc_parts()));
  add_spi(rows);
  rows.real("gain", IN(config.gain), Family::ratio, between("0.01", "1000"), by_default("1"),
            "of an amplifier inside the part");
  rows.real("period", IN(config.period_s), Family::time, between("50 us", "1 s"),
            by_default("1 ms"), "from one round of all its inputs to the next");
  add_frame(rows);
  rows.text("frame.convert", IN(convert), "a word, such as 0x060000", of_the_part,
            "the other bits of a frame that asks for one channel");
  rows.whole("frame.result_shift", IN(config.part.result_shift), 0, 24, of_the_part,
             "bits below the result in the frame that answers");
  rows.whole("frame.frames_late", IN(config.part.frames_late), 0, 2, of_the_part,
             "from a question to the frame that answers it");
}

void add_iio(std::vector<Parameter>& all, std::size_t k) {
  const RowsOf<io::IioConfig> rows(
      fmt::format("converters.{}", iio_names[k]),
      [k](Draft& d) -> io::IioConfig& { return d.converters.iio[k]; }, all);
  rows.text("device", IN(device), "a name, such as iio:device0", optional,
            "the IIO device, or what its file `name` says");
  rows.real("sampling", IN(sampling_Hz), Family::frequency, between("0 Hz", "1 MHz"),
            by_default("0 Hz"), "of all its inputs; 0 Hz: as it stands");
  rows.text("trigger", IN(trigger), "a trigger's name", optional,
            "what starts a scan; absent: as it stands");
  rows.whole("buffer", IN(buffer_scans), 2, 65'536, by_default("64"), "of the kernel, scans");
  rows.whole("watermark", IN(watermark_scans), 1, 65'536, by_default("1"),
             "scans after which it wakes us");
}

void add_end(const RowsOf<ConverterEnd>& rows, std::vector<std::string> converters,
             const char* address) {
  rows.choice("converter", IN(converter), std::move(converters), optional,
              "where this wire ends, one of converters");
  rows.whole("address", IN(address), 0, 255, optional, address);
  rows.real("scale", IN(scale), Family::ratio, between("-100", "100"), by_default("1"),
            "volts at the wire per volt of the part: amplifier or divider between them");
  rows.real("shift", IN(shift_V), Family::voltage, between("-30 V", "30 V"), by_default("0 V"),
            "at the wire while the part stands at 0 V");
  rows.text("calibration", IN(calibration), "pairs shown: true, two or more", optional,
            "what was shown, and what a meter said at the wire: {0.5 V: 0.512 V, 4.5 V: 4.48 V}");
}

void add_channel(std::vector<Parameter>& all, std::size_t k) {
  const RowsOf<ConverterEnd> rows(
      fmt::format("harness.channels.{}", io::name(io::ChannelId(static_cast<std::uint16_t>(k)))),
      [k](Draft& d) -> ConverterEnd& { return d.converters.channel[k]; }, all);
  add_end(rows, {dac_names.begin(), dac_names.end()}, "the part's output");
  rows.real("least", IN(least_V), Family::voltage, between("-30 V", "30 V"), follows("0 V"),
            "never below, whatever is asked for");
  rows.real("most", IN(most_V), Family::voltage, between("-30 V", "30 V"),
            follows("controller.supply"), "never above, to protect the controller's input");
  rows.real("safe", IN(safe_V), Family::voltage, between("-30 V", "30 V"), optional,
            "on the wire whenever the bench does not run; of a current its zero-current offset");
}

void add_gate(std::vector<Parameter>& all, std::size_t k) {
  std::vector<std::string> converters(adc_names.begin(), adc_names.end());
  converters.insert(converters.end(), iio_names.begin(), iio_names.end());
  const RowsOf<ConverterEnd> rows(
      fmt::format("harness.lines.{}", io::name(io::LineId(static_cast<std::uint16_t>(k)))),
      [k](Draft& d) -> ConverterEnd& { return d.converters.gate[k]; }, all);
  add_end(rows, std::move(converters), "the part's input; of an IIO device N of in_voltageN");
  rows.real("filter", IN(filter_s), Family::time, above("0 s", "10 s"), optional,
            "time constant of the RC filter that makes its average, R times C");
}

#undef IN

}  // namespace

std::vector<Parameter> converter_parameters() {
  std::vector<Parameter> all;
  for (std::size_t k = 0; k < dac_names.size(); ++k) add_dac(all, k);
  for (std::size_t k = 0; k < adc_names.size(); ++k) add_adc(all, k);
  for (std::size_t k = 0; k < iio_names.size(); ++k) add_iio(all, k);
  all.push_back(
      whole("converters.priority", AT(converters.priority), 0, highest_priority, by_default("60"),
            "SCHED_FIFO priority of the buses' threads; 0: ordinary threads", role::lines));
  all.push_back(whole("converters.core", AT(converters.core), 0, 1023, optional,
                      "to which they are bound; absent: any", role::lines));
  all.push_back(real("converters.wake", AT(converters.wake_s), Family::time,
                     between("0 s", "10 ms"), by_default("50 us"),
                     "until such a thread runs, declared until it is measured", role::lines));
  all.push_back(whole("converters.stalled_after", AT(converters.stalled_after), 2, 10'000,
                      follows("four times the periods that a transfer takes, 8 at least"),
                      "periods without a finished transfer until the run ends, outputs safe",
                      role::lines));
  for (std::size_t k = 0; k < io::channel_count; ++k) add_channel(all, k);
  for (std::size_t k = 0; k < io::gate_count; ++k) add_gate(all, k);
  all.push_back(real("harness.gates.volts_on", AT(gate_on_V), Family::voltage,
                     between("-30 V", "30 V"), follows("controller.supply; active low: 0 V"),
                     "average of a filtered gate whose switch is always on", role::lines));
  all.push_back(real("harness.gates.volts_off", AT(gate_off_V), Family::voltage,
                     between("-30 V", "30 V"), follows("0 V; active low: controller.supply"),
                     "average of a filtered gate whose switch is always off", role::lines));
  all.push_back(real("harness.gates.volts_tolerance", AT(gate_tolerance), Family::ratio,
                     between("0 %", "20 %"), by_default("1 %"),
                     "so near to always on or off, a filtered gate is", role::lines));
  return all;
}

}  // namespace stillrotor
