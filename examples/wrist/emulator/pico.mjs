// A Raspberry Pi Pico with the wrist's parts on it, emulated: display, motor, button, serial line, flash.
import { RP2040 } from "rp2040js";

const FLASH = 0x10000000;
const RAM = 0x20000000;
const SECOND = 1e9;

/** The flash chip's content from a UF2 file. */
export function flashFromUf2(uf2) {
  const flash = new Uint8Array(2 * 1024 * 1024).fill(0xff);
  const view = new DataView(uf2.buffer, uf2.byteOffset, uf2.byteLength);
  for (let at = 0; at < uf2.length; at += 512) {
    if (view.getUint32(at, true) !== 0x0a324655) throw new Error("not a UF2 block");
    const [address, length] = [view.getUint32(at + 12, true), view.getUint32(at + 16, true)];
    flash.set(uf2.subarray(at + 32, at + 32 + length), address - FLASH);
  }
  return flash;
}

/** The SSD1306's memory: eight pages of 128 columns. */
class Display {
  memory = new Uint8Array(1024);
  #columns = [0, 127];
  #pages = [0, 7];
  #column = 0;
  #page = 0;
  #mode = undefined; // undefined: a control byte comes next
  #command = [];

  begin() {
    this.#mode = undefined;
  }

  byte(value) {
    if (this.#mode === undefined) this.#mode = value & 0x40 ? "data" : "command";
    else if (this.#mode === "data") this.#data(value);
    else this.#take(value);
  }

  #data(value) {
    this.memory[this.#page * 128 + this.#column] = value;
    if (this.#column++ < this.#columns[1]) return;
    this.#column = this.#columns[0];
    this.#page = this.#page < this.#pages[1] ? this.#page + 1 : this.#pages[0];
  }

  #take(value) {
    this.#command.push(value);
    const [code, first, second] = this.#command;
    const following = { 0x20: 1, 0x21: 2, 0x22: 2, 0x81: 1, 0x8d: 1, 0xa8: 1, 0xd3: 1, 0xd5: 1, 0xd9: 1, 0xda: 1, 0xdb: 1 };
    if (this.#command.length <= (following[code] ?? 0)) return;
    if (code === 0x21) [this.#columns, this.#column] = [[first, second], first];
    if (code === 0x22) [this.#pages, this.#page] = [[first, second], first];
    this.#command = [];
  }
}

export class Pico {
  display = new Display();
  said = "";
  turns = []; // how long the motor turned each time, ms
  /** Stops at every flash operation when set; called before it with its kind. */
  onFlash = () => {};
  lowestStack = 0xffffffff;
  busyCycles = []; // lengths of GP16 pulses
  busyStack = 0; // the most stack used within one
  /** A program that ended by a break point of its own. */
  stopped = false;

  /** @param flash the flash chip, which outlives a power cut */
  constructor(flash, { ppm = 0 } = {}) {
    this.chip = flash;
    this.ppm = ppm;
    const mcu = (this.mcu = new RP2040());
    this.clock = mcu.clock;
    mcu.logger = { debug() {}, info() {}, warn() {}, error: console.error };
    mcu.flash.set(flash);
    this.#rom();
    // the boot ROM ends at the vector table behind the second stage
    const vectors = new DataView(flash.buffer, flash.byteOffset + 0x100, 8);
    mcu.core.VTOR = FLASH + 0x100;
    mcu.core.SP = vectors.getUint32(0, true);
    mcu.core.PC = vectors.getUint32(4, true) & ~1;
    this.stackTop = mcu.core.SP;

    mcu.uart[0].onByte = (byte) => (this.said += String.fromCharCode(byte));
    const i2c = mcu.i2c[0];
    i2c.onConnect = (address) => {
      this.display.begin();
      i2c.completeConnect(address === 0x3c);
    };
    i2c.onWriteByte = (value) => {
      this.display.byte(value);
      i2c.completeWrite(true);
    };
    mcu.gpio[15].addListener((state) => {
      if (state === 1) this.motorSince = this.ms;
      else if (this.motorSince !== undefined) {
        this.turns.push(this.ms - this.motorSince);
        this.motorSince = undefined;
      }
    });
    mcu.gpio[16].addListener((state) => {
      if (state === 1) {
        this.busySince = mcu.core.cycles;
        this.busyFrom = this.lowestStack = mcu.core.SP;
      } else if (this.busySince !== undefined) {
        this.busyCycles.push(mcu.core.cycles - this.busySince);
        this.busyStack = Math.max(this.busyStack, this.busyFrom - this.lowestStack);
      }
    });
    mcu.gpio[14].setInputValue(true);
    mcu.adc.channelValues[3] = 1556; // a third of 3.76 V
    mcu.peripherals[0x40058].onWatchdogTrigger = () => {
      throw new Error(`the watchdog reset the board at ${this.ms} ms`);
    };
  }

  /** The boot ROM's flash functions, as break points that do in one step what the chip takes milliseconds for. */
  #rom() {
    const { mcu } = this;
    const rom = new DataView(mcu.bootrom.buffer);
    const names = ["halt", "lookup", "IF", "EX", "RE", "RP", "FC", "CX", "C4", "MC"];
    const place = (index) => 0x100 + 4 * index;
    rom.setUint16(0x14, 0x80, true); // function table: the look-up ignores it
    rom.setUint16(0x18, place(1) | 1, true);
    names.forEach((_, index) => {
      rom.setUint16(place(index), 0xbe00 | index, true); // BKPT #index
      rom.setUint16(place(index) + 2, 0x4770, true); // BX LR
    });
    mcu.onBreak = (number) => {
      const { registers } = mcu.core;
      const [a, b, c] = registers;
      switch (names[number]) {
        case "lookup": {
          const code = String.fromCharCode(b & 0xff, (b >> 8) & 0xff);
          const index = names.indexOf(code);
          if (index < 0) throw new Error(`boot ROM function ${code}`);
          registers[0] = place(index) | 1;
          break;
        }
        case "RE":
          this.onFlash("erase", a, b);
          mcu.flash.fill(0xff, a, a + b);
          break;
        case "RP":
          this.onFlash("program", a, c);
          for (let i = 0; i < c; i++) mcu.flash[a + i] &= mcu.readUint8(b + i);
          break;
        case "C4":
        case "MC":
          for (let i = 0; i < c; i++) mcu.writeUint8(a + i, mcu.readUint8(b + i));
          break;
        case "halt":
          this.stopped = true;
      }
    };
  }

  get ms() {
    return this.clock.nanos / 1e6;
  }

  /** Runs for so many milliseconds of the outside's time; the board's crystal may be off by `ppm`. */
  run(ms) {
    const { mcu, clock } = this;
    const { core } = mcu;
    const end = clock.nanos + ms * 1e6 * (1 + this.ppm / 1e6);
    while (clock.nanos < end && !this.stopped) {
      if (core.waiting) {
        // nothing to wake it: 0
        const next = clock.nanosToNextAlarm || SECOND;
        clock.tick(Math.max(1, Math.min(next, end - clock.nanos)));
      } else {
        clock.tick(core.executeInstruction() * (SECOND / mcu.clkSys));
        if (core.SP < this.lowestStack) this.lowestStack = core.SP;
      }
    }
  }

  /** Sends bytes at 9600 baud, as far as "ready to send" lets it. */
  send(bytes) {
    for (const byte of bytes) {
      for (let ms = 0; this.mcu.uart[0].rxFIFO.full; ms++) {
        if (ms > 10_000) throw new Error("the board does not take the line's bytes");
        this.run(1);
      }
      this.mcu.uart[0].feedByte(byte);
      this.run(10_000 / 9600);
    }
  }

  press(ms) {
    this.mcu.gpio[14].setInputValue(false);
    this.run(ms);
    this.mcu.gpio[14].setInputValue(true);
  }

  /** The power fails: what the flash chip holds, and nothing else. */
  cutPower() {
    return this.mcu.flash.slice(0, this.chip.length);
  }

  get stackBytes() {
    return this.stackTop - this.lowestStack;
  }
}

/** Records of a stream file: minute, bytes. */
export function* records(file) {
  for (let at = 0; at < file.length; at += 3 + file[at + 2]) {
    yield [file[at] | (file[at + 1] << 8), file.subarray(at + 3, at + 3 + file[at + 2])];
  }
}
