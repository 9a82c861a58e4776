#include "io/analog/latch_line.hpp"

#include <linux/gpio.h>

#include <cerrno>
#include <cstring>

namespace stillrotor::io {

void LatchPulse::open() {
  const std::string setting = setting_ + ".latch";
  const int chip = calls_.open(line_.chip.c_str());
  if (chip < 0)
    throw ConfigError(setting, "cannot open " + line_.chip + ": " + std::strerror(-chip) +
                                   ". `gpiodetect` shows the chips; your user needs permission.");
  gpio_v2_line_request request{};
  request.offsets[0] = line_.offset;
  request.num_lines = 1;
  std::strncpy(request.consumer, "stillrotor latch", sizeof request.consumer - 1);
  request.config.flags = GPIO_V2_LINE_FLAG_OUTPUT;
  if (line_.active_low) request.config.flags |= GPIO_V2_LINE_FLAG_ACTIVE_LOW;
  request.config.num_attrs = 1;
  request.config.attrs[0].attr.id = GPIO_V2_LINE_ATTR_ID_OUTPUT_VALUES;
  request.config.attrs[0].attr.values = 0;
  request.config.attrs[0].mask = 1;
  const int result = calls_.ioctl(chip, GPIO_V2_GET_LINE_IOCTL, &request);
  calls_.close(chip);
  if (result < 0)
    throw ConfigError(setting,
                      "line " + std::to_string(line_.offset) + " of " + line_.chip + ": " +
                          std::strerror(-result) +
                          (result == -EBUSY ? ". Something else holds it; `gpioinfo` says what."
                                            : ". `gpioinfo` lists the lines that there are."));
  file_ = request.fd;
}

int LatchPulse::pulse() noexcept {
  for (const unsigned level : {1U, 0U}) {
    gpio_v2_line_values values{.bits = level, .mask = 1};
    if (const int result = calls_.ioctl(file_, GPIO_V2_LINE_SET_VALUES_IOCTL, &values); result < 0)
      return -result;
  }
  return 0;
}

void LatchPulse::close() noexcept {
  if (file_ >= 0) calls_.close(file_);
  file_ = -1;
}

}  // namespace stillrotor::io
