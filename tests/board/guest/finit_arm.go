package main

const finitModule = 379 // SYS_FINIT_MODULE, which package syscall does not name on arm
