/* What stands beside the chip on its board: counts its starts in an EEPROM on I2C1 (PB8, PB9), lets
 * a gate driver on SPI1 (PA4 to PA7) drive, and asks an absolute angle sensor on SPI3 (PC10 clock,
 * PC11 data, PC12 select) each 20 ms. It says all of that on USART1. From the internal 16 MHz. */
#include <stdint.h>

#define REG(address) (*(volatile uint32_t*)(address))
#define RCC(offset) REG(0x40023800u + (offset))
#define GPIO(port, offset) REG(0x40020000u + 0x400u * (port) + (offset))
#define SPI1 0x40013000u
#define SPI3 0x40003C00u
#define I2C1(offset) REG(0x40005400u + (offset))
#define USART1(offset) REG(0x40011000u + (offset))

#include "say.h"

enum { PORT_A, PORT_B, PORT_C };
enum {
  START = 0x100,
  STOP = 0x200,
  ACK = 0x400,
  SB = 1,
  ADDR = 2,
  BTF = 4,
  RXNE = 0x40,
  AF = 0x400
};

static volatile uint32_t milliseconds;
void tick(void);
void tick(void) { ++milliseconds; }
void edge(void);
void edge(void) {}

/* A frame of 16 bits while that pin is low. */
static uint32_t frame(uint32_t spi, uint32_t port, uint32_t select, uint32_t out) {
  GPIO(port, 0x18) = 1u << (select + 16u);
  REG(spi + 0x0cu) = out;
  while (!(REG(spi + 0x08u) & 1u)) {
  }
  const uint32_t in = REG(spi + 0x0cu);
  GPIO(port, 0x18) = 1u << select;
  return in;
}

static int started(uint32_t address) {
  I2C1(0x00) |= START;
  while (!(I2C1(0x14) & SB)) {
  }
  I2C1(0x10) = address;
  while (!(I2C1(0x14) & (ADDR | AF))) {
  }
  if (I2C1(0x14) & AF) {
    I2C1(0x14) = ~(uint32_t)AF;
    I2C1(0x00) |= STOP;
    while (I2C1(0x00) & STOP) {
    }
    return 0;
  }
  (void)I2C1(0x18);
  return 1;
}
static void put(uint32_t byte) {
  I2C1(0x10) = byte;
  while (!(I2C1(0x14) & BTF)) {
  }
}
static void stop(void) {
  I2C1(0x00) |= STOP;
  while (I2C1(0x00) & STOP) {
  }
}
/* An erased byte counts as none. */
static uint32_t count_start(void) {
  while (!started(0xa0u)) {
  }
  put(0);
  put(0);
  I2C1(0x00) &= ~(uint32_t)ACK;
  I2C1(0x00) |= START;
  while (!(I2C1(0x14) & SB)) {
  }
  I2C1(0x10) = 0xa1u;
  while (!(I2C1(0x14) & ADDR)) {
  }
  (void)I2C1(0x18);
  I2C1(0x00) |= STOP;
  while (!(I2C1(0x14) & RXNE)) {
  }
  const uint32_t count = (I2C1(0x10) + 1u) & 0xffu;
  while (I2C1(0x00) & STOP) {
  }
  while (!started(0xa0u)) {
  }
  put(0);
  put(0);
  put(count);
  stop();
  while (!started(0xa0u)) { /* until it has stored the page */
  }
  stop();
  return count;
}

int main(void) {
  RCC(0x30) |= 7u;
  RCC(0x40) |= 1u << 15 | 1u << 21;
  RCC(0x44) |= 1u << 4 | 1u << 12;
  USART1(0x08) = 139u; /* 115200 */
  USART1(0x0c) = 0x2008u;
  GPIO(PORT_A, 0x18) = 1u << 4;
  GPIO(PORT_A, 0x20) = 5u << 20 | 5u << 24 | 5u << 28;
  GPIO(PORT_A, 0x00) |= 1u << 8 | 2u << 10 | 2u << 12 | 2u << 14;
  GPIO(PORT_B, 0x04) = 3u << 8;
  GPIO(PORT_B, 0x24) = 4u | 4u << 4;
  GPIO(PORT_B, 0x00) |= 2u << 16 | 2u << 18;
  GPIO(PORT_C, 0x18) = 1u << 12;
  GPIO(PORT_C, 0x24) = 6u << 8 | 6u << 12;
  GPIO(PORT_C, 0x00) |= 2u << 20 | 2u << 22 | 1u << 24;
  REG(SPI1) = 0xb45u;           /* 16 bits, mode 1, 8 MHz, SSM and SSI, enabled */
  REG(SPI3) = 0xb45u | 2u << 3; /* the same at 2 MHz */
  REG(SPI1) |= 0x40u;
  REG(SPI3) |= 0x40u;
  I2C1(0x04) = 16u;
  I2C1(0x1c) = 80u; /* 100 kHz */
  I2C1(0x20) = 17u;
  I2C1(0x00) = 1u;
  say_number("start ", count_start());
  say_number("driver before ", frame(SPI1, PORT_A, 4, 0x8000u));
  frame(SPI1, PORT_A, 4, 0x0801u);
  say_number("driver after ", frame(SPI1, PORT_A, 4, 0x8000u));
  REG(0xE000E014u) = 16000u - 1u;
  REG(0xE000E018u) = 0;
  REG(0xE000E010u) = 7u;
  for (uint32_t next = 20;; next += 20) {
    while (milliseconds < next) __asm volatile("wfi");
    say_number("angle ", frame(SPI3, PORT_C, 12, 0) & 0x3fffu);
  }
}
