//! Linked images: their size, what they must not hold, and the UF2 file the Pico's boot loader takes.

use object::{Object, ObjectSection, ObjectSymbol, SectionKind};

/// Bytes in flash and in RAM.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sizes {
    /// Code, constants, and the first values of variables.
    pub flash: u64,
    /// Variables.
    pub ram: u64,
}

/// The sizes of an ELF image.
pub fn sizes(elf: &[u8]) -> Result<Sizes, String> {
    let file = object::File::parse(elf).map_err(|e| e.to_string())?;
    let mut sizes = Sizes { flash: 0, ram: 0 };
    for section in file.sections() {
        match section.kind() {
            // a section all of whose constants may be merged counts as one of strings
            SectionKind::Text | SectionKind::ReadOnlyData | SectionKind::ReadOnlyString => {
                sizes.flash += section.size();
            }
            SectionKind::Data => {
                sizes.flash += section.size();
                sizes.ram += section.size();
            }
            SectionKind::UninitializedData => sizes.ram += section.size(),
            _ => {}
        }
    }
    Ok(sizes)
}

/// The size of the variable `name`.
pub fn variable(elf: &[u8], name: &str) -> Result<u64, String> {
    let file = object::File::parse(elf).map_err(|e| e.to_string())?;
    let symbol = file.symbols().find(|symbol| symbol.name() == Ok(name));
    symbol.map(|symbol| symbol.size()).ok_or_else(|| format!("no variable {name}"))
}

/// Symbols that show a panic, arithmetic in `f64`, or floats written as text.
pub fn forbidden(elf: &[u8]) -> Result<Vec<String>, String> {
    // of f64: the run-time ABI's names on Arm, the compiler library's everywhere (from memory); whole stems, for the
    // hash in a mangled name may hold any letters
    const PARTS: [&str; 30] = [
        "panic",
        "flt2dec",
        "float_to",
        "__aeabi_d",
        "__aeabi_f2d",
        "__aeabi_i2d",
        "__aeabi_ui2d",
        "__aeabi_l2d",
        "__aeabi_ul2d",
        "__adddf",
        "__subdf",
        "__muldf",
        "__divdf",
        "__negdf",
        "__powidf",
        "__eqdf",
        "__nedf",
        "__ltdf",
        "__ledf",
        "__gtdf",
        "__gedf",
        "__unorddf",
        "__extendsfdf",
        "__truncdf",
        "__fixdf",
        "__fixunsdf",
        "__floatsidf",
        "__floatunsidf",
        "__floatdidf",
        "__floatundidf",
    ];
    let file = object::File::parse(elf).map_err(|e| e.to_string())?;
    let names = file.symbols().filter_map(|symbol| symbol.name().ok().map(str::to_owned));
    Ok(names.filter(|name| PARTS.iter().any(|part| name.contains(part))).collect())
}

/// A UF2 file for the RP2040: blocks of 256 bytes for its flash, by the UF2 specification.
pub fn uf2(elf: &[u8]) -> Result<Vec<u8>, String> {
    const RP2040: u32 = 0xE48B_FF56;
    let file = object::File::parse(elf).map_err(|e| e.to_string())?;
    // segments by the address they are loaded at
    let mut flash = std::collections::BTreeMap::<u32, [u8; 256]>::new();
    for (address, data) in load(&file)? {
        for (i, byte) in data.iter().enumerate() {
            let at = address + i as u32;
            flash.entry(at & !0xFF).or_insert([0; 256])[(at & 0xFF) as usize] = *byte;
        }
    }
    let count = flash.len() as u32;
    let mut out = Vec::new();
    for (number, (address, data)) in flash.iter().enumerate() {
        let header = [0x0A32_4655, 0x9E5D_5157, 0x2000, *address, 256, number as u32, count, RP2040];
        out.extend(header.iter().flat_map(|word| word.to_le_bytes()));
        out.extend(data);
        out.extend([0; 476 - 256]);
        out.extend(0x0AB1_6F30_u32.to_le_bytes());
    }
    Ok(out)
}

/// What is loaded where: physical addresses, as the program headers give them.
fn load<'a>(file: &object::File<'a>) -> Result<Vec<(u32, &'a [u8])>, String> {
    use object::read::elf::ProgramHeader;
    let object::File::Elf32(elf) = file else { return Err("not a 32-bit ELF file".into()) };
    let (endian, mut parts) = (elf.endian(), Vec::new());
    for header in elf.elf_program_headers() {
        if header.p_type(endian) == object::elf::PT_LOAD && header.p_filesz(endian) > 0 {
            let data = header.data(endian, elf.data()).map_err(|()| "segment outside the file")?;
            parts.push((header.p_paddr(endian), data));
        }
    }
    Ok(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_image_is_an_error() {
        assert!(sizes(b"not an image").is_err());
        assert!(uf2(&[]).is_err());
    }
}
