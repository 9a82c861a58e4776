// The drive on a board with an STM32F405 at 168 MHz. The board is invented, as the cart is: a
// crystal of 8 MHz, dividers 3.3 V / 5 V before all analog inputs, so that full scale is 5 V at the
// wires.
//
//   PA8 PA9 PA10, PB13 PB14 PB15  gates, high and low sides (TIM1)
//   PB12   the gate driver's fault, low while it reports: break input, no firmware between
//   PB5    the gate driver's enable
//   PA15 PB3, PB10   encoder A, B (TIM2), index (captures the count)
//   PC6 PC7 PC8      Halls U, V, W (TIM3, with HALLS_ONLY)
//   PA0 PA1 PA2      phase currents U, V, W, sampled in one moment by three converters
//   PC0 PC1          throttle, bus voltage
//   PB0 PB1 PB2 PB7  key, brake, reverse, speed limit
//   PB6              serial line, 115200 baud
//
// Converters start shortly before the counter's top, the middle of the low switches' on-time; their
// interrupt is the control period. New duties act from the next top on.
//
// HALLS_ONLY: no encoder, TIM3 times the Halls' edges. HANGS_ON_REVERSE: a mistake on purpose, the
// main loop waits for the switch to go, so that the watchdog has something to bite.
// DIVIDES_TRIGGER: sets a prescaler that does nothing here, and that no simulated chip has.
#include <stdbool.h>
#include <stddef.h>

#include "board.h"
#include "chip.h"
#include "foc.h"
#include "settings.h"

#define CLOCK_HZ 168000000u
#define TOP (CLOCK_HZ / 2u / (uint32_t)PWM_HZ)
#define VOLTS_PER_STEP (5.0f / 4096.0f)

static enum foc_legs legs;
#ifndef HALLS_ONLY
static int32_t index_seen, index_count;
#endif
static volatile uint32_t periods;  // for the watchdog: the control runs
static char text[512];
static volatile uint32_t written, sent;

static void write_text(const char* words) {
  for (; *words; ++words) {
    if (written - sent >= sizeof text) return;  // lost rather than late
    text[written % sizeof text] = *words;
    ++written;
  }
}

// --- set-up ---------------------------------------------------------------------------------

static void start_clock(void) {
  FLASH_ACR = 0x705;   // 5 wait states, prefetch, both caches
  RCC_CR |= 1u << 16;  // crystal
  while (!(RCC_CR & 1u << 17)) {
  }
  RCC_PLLCFGR = 8u | 336u << 6 | 0u << 16 | 1u << 22 | 7u << 24;  // 8 MHz / 8 x 336 / 2
  RCC_CR |= 1u << 24;
  while (!(RCC_CR & 1u << 25)) {
  }
  RCC_CFGR = 5u << 10 | 4u << 13 | 2u;  // slow bus a quarter, fast bus a half
  while ((RCC_CFGR & 0xCu) != 8u) {
  }
  RCC_AHB1ENR |= 7u;
  RCC_APB1ENR |= 3u;
  RCC_APB2ENR |= 1u | 1u << 4 | 7u << 8;
}

enum mode { INPUT, OUTPUT, ALTERNATE, ANALOG };
static void set_pin(uint32_t port, uint32_t pin, enum mode mode, uint32_t function) {
  volatile uint32_t* alternate = &GPIO(port, GPIO_AFR + 4u * (pin / 8u));
  *alternate = (*alternate & ~(0xFu << 4u * (pin % 8u))) | function << 4u * (pin % 8u);
  GPIO(port, GPIO_MODER) = (GPIO(port, GPIO_MODER) & ~(3u << 2u * pin)) | (uint32_t)mode
                                                                              << 2u * pin;
}

static void set_pins(void) {
  GPIO(PORT_A, GPIO_PUPDR) &= ~(3u << 30);  // PA15 and PB3 leave the debugger
  GPIO(PORT_B, GPIO_PUPDR) &= ~(3u << 8);
  GPIO(PORT_C, GPIO_PUPDR) |= 0x15u << 12;  // Halls are open-drain
  for (uint32_t pin = 0; pin < 3; ++pin) set_pin(PORT_A, pin, ANALOG, 0);
  for (uint32_t pin = 0; pin < 2; ++pin) set_pin(PORT_C, pin, ANALOG, 0);
  for (uint32_t pin = 8; pin < 11; ++pin) set_pin(PORT_A, pin, ALTERNATE, 1);
  for (uint32_t pin = 12; pin < 16; ++pin) set_pin(PORT_B, pin, ALTERNATE, 1);
  set_pin(PORT_A, 15, ALTERNATE, 1);
  set_pin(PORT_B, 3, ALTERNATE, 1);
  set_pin(PORT_B, 10, ALTERNATE, 1);
  set_pin(PORT_B, 6, ALTERNATE, 7);
  GPIO(PORT_B, GPIO_PUPDR) |= 1u << 24;  // no driver that reports: no fault
  GPIO(PORT_B, GPIO_PUPDR) |= 2u << 14;  // no switch: no speed limit
  set_pin(PORT_B, 5, OUTPUT, 0);
}

#ifdef HALLS_ONLY
#define EDGE_TICK_S (168.0f / 84e6f)

/// Hall interface: each edge of any of the three captures the count and sets it back; it runs over
/// where nothing turns.
static void start_halls(void) {
  for (uint32_t pin = 6; pin < 9; ++pin) set_pin(PORT_C, pin, ALTERNATE, 2);
  TIM(TIM3, TIM_PSC) = 168u - 1u;
  TIM(TIM3, TIM_ARR) = 0xFFFFu;
  TIM(TIM3, TIM_CR2) = 1u << 7;        // the three together
  TIM(TIM3, TIM_SMCR) = 4u << 4 | 4u;  // reset by either edge of them
  TIM(TIM3, TIM_CCMR1) = 3u;           // which captures, too
  TIM(TIM3, TIM_CCER) = 1u;
  TIM(TIM3, TIM_CR1) = 1u << 2 | 1u;  // only running over counts as an update
  TIM(TIM3, TIM_EGR) = 1u;
}

static void read_halls(struct foc_inputs* in) {
  static bool ran_over, last_ran_over;
  static uint32_t apart;
  uint32_t halls, count;
  do {  // all of one sector
    halls = GPIO(PORT_C, GPIO_IDR) >> 6 & 7u;
    count = TIM(TIM3, TIM_CNT);
    if (TIM(TIM3, TIM_SR) & 1u << 1) {
      apart = TIM(TIM3, TIM_CCR1);
      last_ran_over = ran_over;
      ran_over = false;
    }
    if (TIM(TIM3, TIM_SR) & 1u) {
      ran_over = true;
      TIM(TIM3, TIM_SR) = ~1u;
    }
  } while (halls != (GPIO(PORT_C, GPIO_IDR) >> 6 & 7u));
  in->hall = (uint8_t)halls;
  in->edge_s = ran_over ? 1.0f : EDGE_TICK_S * (float)count;
  in->edges_apart_s = last_ran_over ? 1.0f : EDGE_TICK_S * (float)apart;
}
#else
static void start_encoder(void) {
  TIM(TIM2, TIM_ARR) = 0xFFFFFFFFu;
  TIM(TIM2, TIM_CCMR1) = 0x0101u;
  TIM(TIM2, TIM_CCMR2) = 0x0001u;  // the index captures
  TIM(TIM2, TIM_CCER) = 1u << 8;
  TIM(TIM2, TIM_SMCR) = 3u;
  TIM(TIM2, TIM_CR1) = 1u;
}
#endif

static void start_converters(void) {
  // All three begin together with the fourth channel of TIM1: a current, then something slow.
  ADC_CCR = 0x15u | 1u << 16;  // injected simultaneous, all three; 84 MHz / 4
  static const uint32_t second[] = {11, 10, 3};
  for (uint32_t k = 0; k < 3; ++k) {
    ADC(k, ADC_SMPR1) = 3u | 3u << 3;  // the slow ones: 56 clocks
    ADC(k, ADC_CR1) = 1u << 8 | (k == 2 ? 1u << 7 : 0u);
    ADC(k, ADC_JSQR) = 1u << 20 | second[k] << 15 | k << 10;
    ADC(k, ADC_CR2) = 1u | (k == 0 ? 1u << 20 : 0u);
  }
  NVIC_ISER(ADC_INTERRUPT) = 1u << ADC_INTERRUPT;
}

static void start_pwm(void) {
  TIM(TIM1, TIM_ARR) = TOP;
  TIM(TIM1, TIM_CCMR1) = 0x6868u;  // PWM, preloaded
  TIM(TIM1, TIM_CCMR2) = 0x7868u;  // the fourth high about the top
  TIM(TIM1, TIM_CCR4) = TOP - 1u;
  TIM(TIM1, TIM_CCER) = 0x1555u;
  TIM(TIM1, TIM_EGR) = 1u;
  // 2 x (64 + 20) clocks of dead time; break low; off is driven low.
  TIM(TIM1, TIM_BDTR) = 0x94u | 1u << 10 | 1u << 11 | 1u << 12;
#ifdef DIVIDES_TRIGGER
  TIM(TIM1, TIM_SMCR) = 1u << 12;
#endif
  TIM(TIM1, TIM_CR1) = 1u << 5 | 1u << 7 | 1u;
  // From now on every second boundary updates: the next one is the top.
  TIM(TIM1, TIM_RCR) = 1u;
}

// --- control --------------------------------------------------------------------------------

static void read_inputs(struct foc_inputs* in) {
  for (uint32_t k = 0; k < 3; ++k) in->current_V[k] = VOLTS_PER_STEP * (float)ADC(k, ADC_JDR1);
  in->bus_V = VOLTS_PER_STEP * (float)ADC(0, ADC_JDR2);
  in->throttle_V = VOLTS_PER_STEP * (float)ADC(1, ADC_JDR2);
  const uint32_t b = GPIO(PORT_B, GPIO_IDR);
  in->key = b & 1u;
  in->brake = b & 2u;
  in->reverse = b & 4u;
  in->speed_limit = b & 1u << 7;
  in->driver_fault = !(b & 1u << 12);
#ifdef HALLS_ONLY
  read_halls(in);
  in->count = in->index_seen = in->index_count = 0;
#else
  in->hall = (uint8_t)(GPIO(PORT_C, GPIO_IDR) >> 6 & 7u);
  in->edge_s = in->edges_apart_s = 0.0f;
  if (TIM(TIM2, TIM_SR) & 1u << 3) {
    ++index_seen;
    index_count = (int32_t)TIM(TIM2, TIM_CCR3);  // reading it clears the flag
  }
  in->count = settings.encoder_direction * (int32_t)TIM(TIM2, TIM_CNT);
  in->index_seen = index_seen;
  in->index_count = settings.encoder_direction * index_count;
#endif
}

void control_period(void) {
  ADC(2, ADC_SR) = 0;  // only the third one interrupts
  struct foc_inputs in;
  struct foc_outputs out;
  read_inputs(&in);
  if (periods == 0) foc_reset(&in);
  foc_period(&in, &out);
  for (uint32_t k = 0; k < 3; ++k) {
    const float duty = out.legs == FOC_LOW ? 0.0f : out.duty[k];
    TIM(TIM1, TIM_CCR1 + 4u * k) = (uint32_t)(duty * (float)TOP + 0.5f);
  }
  if (out.legs != legs) {
    legs = out.legs;
    if (legs == FOC_OFF)
      TIM(TIM1, TIM_BDTR) &= ~(1u << 15);
    else
      TIM(TIM1, TIM_BDTR) |= 1u << 15;
  }
  if (out.say != NULL) write_text(out.say);
  ++periods;
}

#ifdef TESTS_FLASH
#define FLASH_START 0x08000000u
#define FLASH_TESTED 0x8000u
// The CRC-32 of the program, again and again, as a self-test in the background does it.
static volatile uint32_t flash_sum, flash_sums;  // volatile: nobody reads them but a debugger

static void test_flash(void) {
  static uint32_t at = 0, crc = ~0u;
  for (uint32_t n = 0; n < 16; ++n, at += 4) {
    crc ^= *(const volatile uint32_t*)(FLASH_START + at);
    for (uint32_t bit = 0; bit < 32; ++bit) crc = (crc >> 1) ^ (0xedb88320u & -(crc & 1u));
  }
  if (at < FLASH_TESTED) return;
  flash_sum = ~crc;
  flash_sums = flash_sums + 1;
  at = 0;
  crc = ~0u;
}
#endif

int main(void) {
  start_clock();
  set_pins();
  GPIO(PORT_B, GPIO_BSRR) = 1u << 5;
  USART1_BRR = 84000000u / 115200u;
  USART1_CR1 = 1u << 13 | 1u << 3;
  IWDG_KR = 0x5555u;
  IWDG_PR = 0;
  IWDG_RLR = 160;  // 20 ms
  IWDG_KR = 0xCCCCu;
  if (RCC_CSR & 1u << 29) write_text("bitten by the watchdog\n");
  RCC_CSR |= 1u << 24;
#ifdef HALLS_ONLY
  start_halls();
#else
  start_encoder();
#endif
  start_converters();
  start_pwm();
  for (uint32_t seen = 0;;) {
#ifndef POLLING
    __asm volatile("wfi");
#endif
#ifdef HANGS_ON_REVERSE
    while (GPIO(PORT_B, GPIO_IDR) & 4u) {
    }
#endif
#ifdef TESTS_FLASH
    test_flash();
#endif
    if (periods != seen) IWDG_KR = 0xAAAAu;  // a control that stands still is bitten
    seen = periods;
    if (sent != written && (USART1_SR & 1u << 7)) {
      USART1_DR = (uint32_t)(uint8_t)text[sent % sizeof text];
      ++sent;
    }
  }
}
