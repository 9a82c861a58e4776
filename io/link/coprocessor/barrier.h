/* Between the data of a queue and its index: the compiler may move plain stores past volatile ones.
 * Enough between cores that neither cache nor reorder memory, as Cortex-M0+ and M4 do not; a port
 * to others makes it a memory barrier of theirs. */
#ifndef STILLROTOR_COPROCESSOR_BARRIER_H
#define STILLROTOR_COPROCESSOR_BARRIER_H

static inline void cp_barrier(void) { __asm__ volatile("" ::: "memory"); }

#endif
