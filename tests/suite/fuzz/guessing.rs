//! First mappings of any source: whatever is proposed can be read as settings.

use super::Target;
use rigtide::catalogue::table::Document;
use rigtide::feeds::decode::{Context, guess};
use rigtide::feeds::mapping::FormatSettings;

pub const GUESS: Target = Target {
    name: "guess",
    seeds: SEEDS,
    words: WORDS,
    check: check_guess,
};

fn check_guess(bytes: &[u8]) -> String {
    let context = Context {
        address: Some("https://shop.example/offers"),
        body_limit: 1 << 20,
        ..Context::default()
    };
    let guess = match guess(&mut &*bytes, &context) {
        Ok(guess) => guess,
        Err(fault) => return fault.code().to_owned(),
    };
    let toml = guess.toml.replace("[feed.fields]", "[fields]");
    let document = Document::parse("guess", &toml);
    let settings = FormatSettings::read(&mut document.root());
    let faults = document.into_faults();
    // A source in which no field was found leaves them to the author.
    let is_mapped = guess.is_index || !toml.contains("[fields]\n#");
    assert!(settings.is_some() || !is_mapped, "{toml}{faults:?}");
    let lines = toml.lines().filter(|line| !line.starts_with('#'));
    let keys: Vec<&str> = lines
        .map(|line| line.split(' ').next().unwrap_or_default())
        .collect();
    keys.join(" ")
}

const SEEDS: &[&str] = &[
    "nr;title;ean;price;stock\n1;Fjell 26;9520009000012;189,90;5\n2;Tern;;97,90;0\n",
    "{\"items\":[{\"id\":\"7\",\"title\":\"Tern\",\"price\":\"from 51.90\",\"variants\":[{\"sku\":\"a\",\"price\":{\"amount\":51.90,\"currency\":\"EUR\"}},{\"sku\":\"b\",\"price\":{\"amount\":97.90}}]}]}",
    "{\"id\":1,\"name\":\"Reed\",\"price\":5}\n{\"id\":2,\"name\":\"Moss\",\"price\":6}\n",
    "<f><p nr='1'><title>Fjell</title><price>189.90 EUR</price></p><p nr='2'><title>Tern</title><price>97.90</price></p></f>",
    "<rss version='2.0'><channel><item><title>Fan</title><link>https://shop.example/1</link><price>5</price></item><item><title>Lamp</title></item></channel></rss>",
    "<html><nav><a href='/'>Home</a></nav><a class=card href='/p/1'>1</a><a class=card href='/p/2'>2</a><a class=card href='/p/3'>3</a><a class=card href='/p/4?x=1'>4</a><a class='card b' href='https://shop.example/p/5'>5</a><a class=card href='/p/6#a'>6</a><a class=card href='/p/7'>7</a>",
    "<html><script type='application/ld+json'>{\"@type\":\"Product\",\"name\":\"Fan\",\"offers\":{\"price\":\"5\"}}</script>",
];
const WORDS: &[&str] = &[
    "<a href='/p/8'>",
    "<a href='/q?id=8'>",
    " class='x y'",
    "href=",
    "<html>",
    "'",
    "\"",
    "\\",
    "[",
    "]",
    "{",
    "}",
    "\"variants\"",
    "\"price\":1",
    "\"odd name\"",
    "<item>",
    "</item>",
    ";",
    "price",
    "\n",
    ",",
];
