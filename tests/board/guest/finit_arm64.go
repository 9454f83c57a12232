package main

const finitModule = 273 // SYS_FINIT_MODULE
