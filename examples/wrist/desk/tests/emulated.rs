//! The images under qemu: the same columns on every instruction set, the same pictures on the display.
//!
//! `ci.sh` builds the images and sets `WRIST_EMULATED`; without it these tests are skipped.

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Command, Stdio};
use wrist_desk::stream::first_alarm;
use wrist_desk::{Picture, check, golden};

const SEMIHOSTING: &str = "enable=on,target=native";

/// An image built by `ci.sh`.
fn image(target: &str, name: &str) -> Option<String> {
    let Some(folder) = std::env::var_os("WRIST_EMULATED") else {
        eprintln!("skipped: WRIST_EMULATED is not set (ci.sh sets it)");
        return None;
    };
    Some(PathBuf::from(folder).join(target).join("release").join(name).display().to_string())
}

/// What an image prints.
fn printed(qemu: &str, machine: &[&str], target: &str, name: &str) -> Option<String> {
    let image = image(target, name)?;
    let output = Command::new(qemu)
        .args(machine)
        .args(["-nographic", "-serial", "null", "-monitor", "none", "-semihosting-config", SEMIHOSTING])
        .args(["-kernel", &image])
        .output()
        .unwrap_or_else(|e| panic!("{qemu}: {e}"));
    assert!(output.status.success(), "{target}: {}", String::from_utf8_lossy(&output.stderr));
    Some(String::from_utf8(output.stdout).unwrap())
}

fn columns(qemu: &str, machine: &[&str], target: &str) {
    let Some(printed) = printed(qemu, machine, target, "columns") else { return };
    let golden = std::fs::read_to_string(golden().join("day.columns")).unwrap();
    assert_eq!(printed, golden, "{target}");
}

/// The most stack that each call may take, bytes.
fn stack(image: &str, most: &[(&str, usize)]) {
    let Some(printed) = printed("qemu-system-arm", &["-M", "microbit"], "thumbv6m-none-eabi", image) else {
        return;
    };
    print!("stack on the M0+, {image}:\n{printed}");
    let lines: Vec<_> = printed.lines().map(|line| line.split_once(' ').unwrap()).collect();
    assert_eq!(lines.len(), most.len());
    for ((name, bytes), (call, most)) in lines.into_iter().zip(most) {
        let bytes: usize = bytes.parse().unwrap();
        assert!(
            name == *call && (100..=*most).contains(&bytes),
            "{name}: {bytes} bytes of stack, over {most}"
        );
    }
}

#[test]
fn the_library_s_calls_take_little_stack() {
    stack("depth", &[("push", 2400), ("save", 1024), ("restore", 1024)]);
}

#[test]
fn two_sensors_take_little_more_stack() {
    stack("depth_pair", &[("push", 4992), ("fingerstick", 2048)]);
}

#[test]
fn columns_on_armv6m() {
    columns("qemu-system-arm", &["-M", "microbit"], "thumbv6m-none-eabi");
}

#[test]
fn columns_on_armv7m_soft_float() {
    columns("qemu-system-arm", &["-M", "lm3s6965evb"], "thumbv7m-none-eabi");
}

#[test]
fn columns_on_armv7em_hard_float() {
    columns("qemu-system-arm", &["-M", "mps2-an386"], "thumbv7em-none-eabihf");
}

#[test]
fn columns_on_riscv() {
    columns("qemu-system-riscv32", &["-M", "virt", "-bios", "none"], "riscv32imc-unknown-none-elf");
}

/// The display after `minute` minutes of the day, as qemu's own screen dump.
fn oled(minute: u16) -> Option<Picture> {
    let image = image("thumbv7m-none-eabi", "oled")?;
    let dump = std::env::temp_dir().join(format!("wrist-oled-{}-{minute}.ppm", std::process::id()));
    let mut qemu = Command::new("qemu-system-arm")
        .args(["-M", "lm3s6965evb", "-display", "none", "-serial", "null", "-qmp", "stdio"])
        .args(["-chardev", "null,id=quiet", "-semihosting-config"])
        .arg(format!("enable=on,target=native,arg=oled,arg={minute}"))
        .args(["-kernel", &image])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let (mut commands, answers) = (qemu.stdin.take().unwrap(), BufReader::new(qemu.stdout.take().unwrap()));
    writeln!(commands, r#"{{"execute":"qmp_capabilities"}}"#).unwrap();
    for answer in answers.lines() {
        let answer = answer.unwrap();
        if answer.contains("drawn") {
            let dump = dump.display();
            writeln!(
                commands,
                r#"{{"execute":"screendump","arguments":{{"filename":"{dump}"}},"id":"dump"}}"#
            )
            .unwrap();
        }
        if answer.contains(r#""id": "dump""#) {
            writeln!(commands, r#"{{"execute":"quit"}}"#).unwrap();
        }
    }
    assert!(qemu.wait().unwrap().success());
    let ppm = std::fs::read(&dump).unwrap();
    std::fs::remove_file(&dump).unwrap();
    Some(from_screendump(&ppm))
}

/// qemu shows each pixel of this display as 4 × 4 of a colour from black to full.
fn from_screendump(ppm: &[u8]) -> Picture {
    let header = b"P6\n512 256\n255\n";
    assert!(ppm.starts_with(header), "{:?}", String::from_utf8_lossy(&ppm[..20]));
    let pixels = &ppm[header.len()..];
    let grey = |x: usize, y: usize| pixels[(y * 4 * 512 + x * 4) * 3 + 1];
    Picture::grey(128, (0..64).flat_map(|y| (0..128).map(move |x| grey(x, y))).collect())
}

#[test]
fn pictures_on_the_display() {
    let stream = std::fs::read(golden().join("day.frames")).unwrap();
    let alarm = first_alarm(&stream).unwrap();
    for (minute, name) in [(60, "day-hour"), (alarm - 20, "day-quiet"), (alarm, "day-alarm")] {
        if let Some(picture) = oled(minute) {
            assert_eq!(check(&picture, &format!("{name}-grey")), Ok(()));
        }
    }
}
