// Buffered IIO inputs, from a temporary sysfs tree and a FIFO in the place of the character device.
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <thread>

#include "io/analog/analog.hpp"
#include "io/analog/iio_scan.hpp"
#include "io/analog/limits.hpp"

namespace stillrotor::io {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

// Source: kernel documentation, IIO buffers: "[be|le]:[s|u]bits/storagebits[>>shift]".
TEST(IioType, IsReadAsTheKernelWritesIt) {
  const IioElement element = parse_iio_type("be:s12/16>>4", 3);
  EXPECT_TRUE(element.big_endian);
  EXPECT_TRUE(element.is_signed);
  EXPECT_EQ(element.bits, 12);
  EXPECT_EQ(element.storage_bits, 16);
  EXPECT_EQ(element.shift, 4);
  for (const char* bad : {"", "le:u12/16", "xe:u12/16>>0", "le:u12/12>>0", "le:u16/16>>4",
                          "le:u0/16>>0", "le:s16/32X4>>0"})
    EXPECT_THROW(parse_iio_type(bad, 0), std::invalid_argument) << bad;
}

// By hand: 0xABC4 >> 4 = 0xABC; as 12 signed bits 0xABC - 0x1000 = -1348.
TEST(IioScan, ValuesHaveTheirByteOrderSignAndShift) {
  const std::uint8_t bytes[] = {0xAB, 0xC4};
  EXPECT_EQ(count(parse_iio_type("be:u12/16>>4", 0), bytes), 0xABC);
  EXPECT_EQ(count(parse_iio_type("be:s12/16>>4", 0), bytes), -1348);
  EXPECT_EQ(count(parse_iio_type("le:u16/16>>0", 0), bytes), 0xC4AB);
  const std::uint8_t all_ones[8] = {255, 255, 255, 255, 255, 255, 255, 255};
  EXPECT_EQ(count(parse_iio_type("le:s64/64>>0", 0), all_ones), -1);
}

// By hand: 16 bits at 0, 32 bits at the next multiple of 4, 64 bits at 8; the scan ends at 16.
TEST(IioScan, ElementsStandAtMultiplesOfTheirOwnSize) {
  IioElement stamp = parse_iio_type("le:s64/64>>0", 9), wide = parse_iio_type("le:u24/32>>0", 4),
             narrow = parse_iio_type("le:u12/16>>0", 1);
  std::vector<IioElement*> all{&stamp, &wide, &narrow};
  EXPECT_EQ(lay_out(all), 16u);
  EXPECT_EQ(narrow.offset, 0u);
  EXPECT_EQ(wide.offset, 4u);
  EXPECT_EQ(stamp.offset, 8u);
  std::vector<IioElement*> two{&narrow, &wide};
  EXPECT_EQ(lay_out(two), 8u);
}

class IioDevice : public testing::Test {
 protected:
  void SetUp() override {
    std::string name = (fs::temp_directory_path() / "stillrotor-iio-XXXXXX").string();
    ASSERT_NE(mkdtemp(name.data()), nullptr);
    root_ = name;
    folder_ = root_ / "sys/iio:device3";
    fs::create_directories(folder_ / "scan_elements");
    fs::create_directories(folder_ / "buffer");
    fs::create_directories(root_ / "dev");
    file("name", "test-adc\n");
    file("buffer/enable", "0\n");
    file("buffer/length", "2\n");
    file("buffer/watermark", "1\n");
    file("sampling_frequency", "100\n");
    element("in_voltage1", 1, "le:u12/16>>0\n");
    element("in_voltage4", 4, "be:s12/16>>4\n");
    element("in_voltage5", 5, "le:u12/16>>0\n");
    file("scan_elements/in_voltage5_en", "1\n");  // left on by somebody
    file("in_voltage_scale", "0.5\n");            // mV a count, of all
    file("in_voltage4_scale", "2.0\n");           // of this one
    file("in_voltage4_offset", "10\n");
    ASSERT_EQ(mkfifo((root_ / "dev/iio:device3").c_str(), 0600), 0);
  }
  void TearDown() override { fs::remove_all(root_); }

  void file(const fs::path& path, const std::string& text) const {
    std::ofstream(folder_ / path) << text;
  }
  std::string file(const fs::path& path) const {
    std::ifstream in(folder_ / path);
    std::string line;
    std::getline(in, line);
    return line;
  }
  void element(const std::string& name, int index, const std::string& type) const {
    file("scan_elements/" + name + "_en", "0\n");
    file("scan_elements/" + name + "_index", std::to_string(index) + "\n");
    file("scan_elements/" + name + "_type", type);
  }
  AnalogConfig config() const {
    IioConfig iio{.device = "test-adc", .sampling_Hz = 1000.0, .buffer_scans = 8};
    iio.sysfs = (root_ / "sys").string();
    iio.dev = (root_ / "dev").string();
    // In another order than the scan's.
    iio.inputs = {{.name = "gate_V", .address = 4}, {.name = "gate_U", .address = 1, .scale = 2.0}};
    return {.iio = {iio}};
  }
  /// Until the port shows so many scans; false: it does not within ten seconds.
  static bool wait_for(AnalogPort& port, std::uint64_t scans) {
    for (int k = 0; k < 10'000 && port.counts().transfers < scans; ++k)
      std::this_thread::sleep_for(std::chrono::milliseconds(1));
    return port.counts().transfers >= scans;
  }

  fs::path root_, folder_;
};

TEST_F(IioDevice, IsSetUpThroughSysfs) {
  AnalogPort port(config());
  port.open();
  EXPECT_EQ(file("scan_elements/in_voltage1_en"), "1");
  EXPECT_EQ(file("scan_elements/in_voltage4_en"), "1");
  EXPECT_EQ(file("scan_elements/in_voltage5_en"), "0");
  EXPECT_EQ(file("sampling_frequency"), "1000");
  EXPECT_EQ(file("buffer/length"), "8");
  EXPECT_EQ(file("buffer/enable"), "1");
  port.close();
  EXPECT_EQ(file("buffer/enable"), "0");
}

// By hand: 0x0400 = 1024 counts of 0.5 mV, twice that at the wire: 1.024 V. (0x7D >> 4 = 7; be
// 0x07D0 >> 4 = 125, and 10) counts of 2 mV: 0.27 V.
TEST_F(IioDevice, BringsTheNewestScanAlsoWhenItComesInPieces) {
  AnalogPort port(config());
  const int writer = ::open((root_ / "dev/iio:device3").c_str(), O_RDWR);
  ASSERT_GE(writer, 0);
  port.open();
  EXPECT_FALSE(port.latest(0).valid);
  const std::uint8_t bytes[] = {0x01, 0x00, 0x00, 0x10, 0x00, 0x04, 0x07, 0xD0};
  ASSERT_EQ(::write(writer, bytes, 5), 5);
  ASSERT_TRUE(wait_for(port, 1));
  EXPECT_NEAR(port.latest(1).volts, 0.001, 1e-12);
  ASSERT_EQ(::write(writer, bytes + 5, 3), 3);
  ASSERT_TRUE(wait_for(port, 2));
  EXPECT_NEAR(port.latest(0).volts, 0.27, 1e-12);
  EXPECT_NEAR(port.latest(1).volts, 1.024, 1e-12);
  EXPECT_EQ(port.counts().failed_transfers, 0u);
  ::close(writer);
}

// By hand: 16 bits, 16 bits, four bytes of nothing, then the stamp.
TEST_F(IioDevice, TakesTheKernelsStampOnTheMonotonicClock) {
  element("in_timestamp", 6, "le:s64/64>>0\n");
  file("current_timestamp_clock", "realtime\n");
  AnalogPort port(config());
  const int writer = ::open((root_ / "dev/iio:device3").c_str(), O_RDWR);
  ASSERT_GE(writer, 0);
  port.open();
  port.arm(1'000);
  EXPECT_EQ(file("current_timestamp_clock"), "monotonic");
  const std::uint8_t bytes[] = {0x00, 0x04, 0x07, 0xD0, 0, 0, 0, 0, 0x10, 0x27, 0, 0, 0, 0, 0, 0};
  ASSERT_EQ(::write(writer, bytes, sizeof bytes), 16);
  ASSERT_TRUE(wait_for(port, 1));
  EXPECT_EQ(port.latest(0).at, Time{(10'000 - 1'000) * 1'000});
  ::close(writer);
}

TEST_F(IioDevice, AFileThatEndsIsCountedAndTheReadingStays) {
  fs::remove(root_ / "dev/iio:device3");
  std::ofstream(root_ / "dev/iio:device3", std::ios::binary) << std::string("\0\4\7\xD0", 4);
  AnalogPort port(config());
  port.open();
  ASSERT_TRUE(wait_for(port, 2));
  EXPECT_NEAR(port.latest(1).volts, 1.024, 1e-12);
  EXPECT_GE(port.counts().failed_transfers, 1u);
}

TEST_F(IioDevice, SaysWhichDevicesThereAreWhenTheNamedOneIsNot) {
  AnalogConfig wrong = config();
  wrong.iio[0].device = "other-adc";
  try {
    AnalogPort(wrong).open();
    FAIL();
  } catch (const ConfigError& error) {
    EXPECT_EQ(error.path, "converters.iio_a.device");
    EXPECT_THAT(error.what(), HasSubstr("iio:device3 (test-adc)"));
  }
}

TEST_F(IioDevice, RefusesAnInputThatCannotBeBufferedOrHasNoScale) {
  AnalogConfig wrong = config();
  wrong.iio[0].inputs[0].address = 7;
  EXPECT_THROW(AnalogPort(wrong).open(), ConfigError);
  fs::remove(folder_ / "in_voltage_scale");
  EXPECT_THROW(AnalogPort(config()).open(), ConfigError);
}

TEST_F(IioDevice, DelayIsFilterWatermarkAndWake) {
  AnalogConfig slow = config();
  slow.iio[0].watermark_scans = 4;
  slow.iio[0].inputs[0].filter_s = 2e-3;
  EXPECT_NEAR(input_limits(slow, slow.iio[0], slow.iio[0].inputs[0]).delay_s, 6.05e-3, 1e-9);
}

}  // namespace
}  // namespace stillrotor::io
