#include "io/mcu/cortexm/parts/part.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr Word K = 1024;
constexpr Word sectors[] = {16 * K,  16 * K,  16 * K,  16 * K,  64 * K,  128 * K,
                            128 * K, 128 * K, 128 * K, 128 * K, 128 * K, 128 * K};

constexpr PortBlock ports[] = {
    {"GPIOA", 'A', 0x40020000, 0xA8000000, 0x64000000, 0},
    {"GPIOB", 'B', 0x40020400, 0x00000280, 0x100, 0xC0},
    {"GPIOC", 'C', 0x40020800, 0, 0, 0},
    {"GPIOD", 'D', 0x40020C00, 0, 0, 0},
    {"GPIOE", 'E', 0x40021000, 0, 0, 0},
    {"GPIOF", 'F', 0x40021400, 0, 0, 0},
    {"GPIOG", 'G', 0x40021800, 0, 0, 0},
    {"GPIOH", 'H', 0x40021C00, 0, 0, 0},
    {"GPIOI", 'I', 0x40022000, 0, 0, 0},
};
constexpr UsartBlock usarts[] = {
    {"USART1", 0x40011000, 37, true},  {"USART2", 0x40004400, 38, false},
    {"USART3", 0x40004800, 39, false}, {"UART4", 0x40004C00, 52, false},
    {"UART5", 0x40005000, 53, false},  {"USART6", 0x40011400, 71, true},
};
constexpr CanBlock cans[] = {{"CAN1", 0x40006400, 19, 22}, {"CAN2", 0x40006800, 63, 66}};
constexpr UsbBlock usbs[] = {{"USB_OTG_HS", 0x40040000}, {"USB_OTG_FS", 0x50000000}};
constexpr LineInterrupt lines[] = {{0, 0, 6},  {1, 1, 7},  {2, 2, 8},   {3, 3, 9},
                                   {4, 4, 10}, {5, 9, 23}, {10, 15, 40}};

constexpr RegisterRow debug_rows[] = {{0x0, "IDCODE", 0x100F6413}, {0x4, "CR"}};
constexpr RegisterRow identity_rows[] = {{0x10, "ID0", 0x00320031},
                                         {0x14, "ID1", 0x33345111},
                                         {0x18, "ID2", 0x30373234},
                                         {0x20, "SIZE", 0x0400ffff}};

constexpr KeptBlock kept[] = {
    {"RTC", 0x40002800, 0x400, {}, true}, {"DAC", 0x40007400, 0x400},
    {"SDIO", 0x40012C00, 0x400},          {"BKPSRAM", 0x40024000, 0x1000, {}, true},
    {"RNG", 0x50060800, 0x400},           {"DBGMCU", 0xE0042000, 0x400, debug_rows},
    {"ITM", 0xE0000000, 0x1000},          {"TPIU", 0xE0040000, 0x1000},
};

const ChipPart stm32f405{
    .name = "stm32f405",
    .memories = {0x08000000, 1024 * K, 0x20000000, 128 * K, 0x10000000, 64 * K},
    .interrupts = 82,
    .highest_Hz = 168'000'000,
    .clock_tree = 0x40023800,
    .flash_controller = 0x40023C00,
    .external_lines = 0x40013C00,
    .system_configuration = 0x40013800,
    .watchdog = 0x40003000,
    .window_watchdog = 0x40002C00,
    .power = 0x40007000,
    .crc = 0x40023000,
    .option_bytes = 0x1FFFC000,
    .identity = 0x1FFF7A00,
    .window_watchdog_interrupt = 0,
    .sector_bytes = sectors,
    .ports = ports,
    .usarts = usarts,
    .cans = cans,
    .usbs = usbs,
    .lines = lines,
    .clocks = stm32f405_clocks,
    .identity_words = identity_rows,
    .kept = kept,
    .motor = &stm32f405_motor,
    .serial = &stm32f405_serial,
};

}  // namespace

const ChipPart* find_chip(std::string_view name) noexcept {
  return name == stm32f405.name ? &stm32f405 : nullptr;
}
std::string_view chip_names() noexcept { return stm32f405.name; }

}  // namespace stillrotor::io::cortexm
