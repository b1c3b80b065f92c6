//! Prints the hashes, one line a part; as argument, through how many events.

fn main() {
    let events = std::env::args().nth(1).map_or(3000, |word| word.parse().expect("a number of events"));
    for (name, part) in everywhere::parts() {
        let hash = part(events);
        println!("{name} {:08x} {}", hash.value, hash.not_finite);
    }
}
