// The registers of an STM32F405 that this firmware uses, by the names of the reference manual
// (RM0090).
#pragma once

#include <stdint.h>

#define REGISTER(address) (*(volatile uint32_t*)(address))

// Clock, power, flash
#define RCC_CR REGISTER(0x40023800u)
#define RCC_PLLCFGR REGISTER(0x40023804u)
#define RCC_CFGR REGISTER(0x40023808u)
#define RCC_AHB1ENR REGISTER(0x40023830u)
#define RCC_APB1ENR REGISTER(0x40023840u)
#define RCC_APB2ENR REGISTER(0x40023844u)
#define RCC_CSR REGISTER(0x40023874u)
#define FLASH_ACR REGISTER(0x40023C00u)

// Ports: A is 0
#define GPIO(port, offset) REGISTER(0x40020000u + 0x400u * (port) + (offset))
enum { PORT_A, PORT_B, PORT_C };
#define GPIO_MODER 0x00u
#define GPIO_PUPDR 0x0Cu
#define GPIO_IDR 0x10u
#define GPIO_BSRR 0x18u
#define GPIO_AFR 0x20u

// Timers
#define TIM1 0x40010000u
#define TIM2 0x40000000u
#define TIM3 0x40000400u
#define TIM(timer, offset) REGISTER((timer) + (offset))
#define TIM_CR1 0x00u
#define TIM_CR2 0x04u
#define TIM_SMCR 0x08u
#define TIM_DIER 0x0Cu
#define TIM_SR 0x10u
#define TIM_EGR 0x14u
#define TIM_CCMR1 0x18u
#define TIM_CCMR2 0x1Cu
#define TIM_CCER 0x20u
#define TIM_CNT 0x24u
#define TIM_PSC 0x28u
#define TIM_ARR 0x2Cu
#define TIM_RCR 0x30u
#define TIM_CCR1 0x34u
#define TIM_CCR2 0x38u
#define TIM_CCR3 0x3Cu
#define TIM_CCR4 0x40u
#define TIM_BDTR 0x44u

// Converters: the first is 0
#define ADC(converter, offset) REGISTER(0x40012000u + 0x100u * (converter) + (offset))
#define ADC_SR 0x00u
#define ADC_CR1 0x04u
#define ADC_CR2 0x08u
#define ADC_SMPR2 0x10u
#define ADC_SMPR1 0x0Cu
#define ADC_JSQR 0x38u
#define ADC_JDR1 0x3Cu
#define ADC_JDR2 0x40u
#define ADC_CCR REGISTER(0x40012304u)

// Serial line
#define USART1_SR REGISTER(0x40011000u)
#define USART1_DR REGISTER(0x40011004u)
#define USART1_BRR REGISTER(0x40011008u)
#define USART1_CR1 REGISTER(0x4001100Cu)

// Watchdog
#define IWDG_KR REGISTER(0x40003000u)
#define IWDG_PR REGISTER(0x40003004u)
#define IWDG_RLR REGISTER(0x40003008u)

// Processor
#define SCB_CPACR REGISTER(0xE000ED88u)
#define NVIC_ISER(interrupt) REGISTER(0xE000E100u + 4u * ((interrupt) / 32u))
enum { ADC_INTERRUPT = 18 };
