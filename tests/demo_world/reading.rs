//! The way of every offer from the running shops through the library: decoded by the feed that
//! the written configuration describes, normalised, and compared with what the demo invented.

use crate::demo::world::{Offer as Listing, Shop, Supply};
use crate::demo::{Addresses, write_configuration};
use crate::shops::{get, header, offers, open};
use rigtide::catalogue::table::Document;
use rigtide::feeds::decode::{Context, decode, decode_links};
use rigtide::feeds::mapping::FormatSettings;
use rigtide::market::{
    Availability, Condition, Field, NormaliseSettings, Normalised, RawOffer, Reject, Retailer,
    normalise,
};
use std::net::SocketAddr;
use std::ops::ControlFlow;
use std::path::Path;

/// What the written configuration says of a shop's feed.
struct Feed {
    format: FormatSettings,
    normalise: NormaliseSettings,
}

impl Feed {
    fn read(directory: &Path, shop: Shop) -> Feed {
        let path = directory.join(format!("retailers/{}.toml", shop.id()));
        let text = std::fs::read_to_string(path).unwrap();
        let document = Document::parse("retailer", &text);
        let mut root = document.root();
        let retailer = Retailer::read(
            shop.id(),
            &mut root,
            &rigtide::catalogue::Catalogue::default(),
        )
        .unwrap();
        let table = &mut root.tables("feed")[0];
        let format = FormatSettings::read(table);
        let normalise = NormaliseSettings::read(table, &retailer);
        assert_eq!(document.into_faults(), []);
        Feed {
            format: format.unwrap(),
            normalise: normalise.unwrap(),
        }
    }

    /// Fetches whatever the feed consists of and decodes it.
    async fn poll(&self, shop: Shop, address: SocketAddr) -> Vec<RawOffer> {
        let base = format!("http://{address}");
        let path = match shop {
            Shop::Vahrel => "/export/artikel.csv",
            Shop::Ysmarok => "/api/offers.json",
            Shop::Immenk => "/",
        };
        let (head, body) = get(address, path).await;
        let context = Context {
            content_type: Some(header(&head, "content-type")),
            address: Some(&base),
            ..Context::default()
        };
        if shop != Shop::Immenk {
            return decoded(&self.format, &body, &context);
        }
        let mut found = Vec::new();
        for link in decode_links(&self.format, &mut body.as_slice(), &context).unwrap() {
            let (_, page) = get(address, link.strip_prefix(&base).unwrap()).await;
            let context = Context {
                address: Some(&link),
                ..context.clone()
            };
            found.extend(decoded(&self.format, &page, &context));
        }
        found
    }
}

fn decoded(format: &FormatSettings, mut body: &[u8], context: &Context<'_>) -> Vec<RawOffer> {
    let mut offers = Vec::new();
    let mut sink = |record: Result<RawOffer, Reject>| {
        offers.push(record.unwrap());
        ControlFlow::Continue(())
    };
    let summary = decode(format, &mut body, context, &mut sink).unwrap();
    assert_eq!(summary.rejected, 0);
    offers
}

#[tokio::test]
async fn every_offer_is_read_as_it_was_invented_and_prices_on_request_are_refused() {
    let (world, shops) = open().await;
    let directory = tempfile::tempdir().unwrap();
    let at = Shop::ALL.map(|shop| shops.address(shop).unwrap());
    let addresses = Addresses {
        shops: at,
        webhook: at[0],
    };
    write_configuration(directory.path(), &world, &addresses).unwrap();
    for (shop, address) in Shop::ALL.into_iter().zip(at) {
        let feed = Feed::read(directory.path(), shop);
        let found = feed.poll(shop, address).await;
        let expected = offers(&world, shop);
        assert_eq!(found.len(), expected.len(), "{}", shop.name());
        for (raw, listing) in found.iter().zip(expected) {
            let read = normalise(raw, &feed.normalise, chrono::DateTime::UNIX_EPOCH);
            check(&read, listing);
        }
    }
}

fn check(read: &Normalised, listing: &Listing) {
    let what = format!("{} {}", listing.sku, listing.title);
    match (read, listing.cents) {
        (Normalised::Refused(refusal), None) => assert_eq!(refusal.field, Field::Price, "{what}"),
        (Normalised::Accepted(offer), Some(cents)) => {
            assert_eq!(offer.sku.as_str(), listing.sku);
            assert_eq!(offer.price.minor(), i64::from(cents), "{what}");
            assert_eq!(offer.mpn, listing.mpn, "{what}");
            let availability = match listing.supply {
                Supply::InStock => Availability::InStock,
                Supply::Few => Availability::LimitedAvailability,
                Supply::SoldOut => Availability::SoldOut,
            };
            assert_eq!(offer.availability, availability, "{what}");
            let condition = if listing.used {
                Condition::Used
            } else {
                Condition::New
            };
            assert_eq!(offer.condition, condition, "{what}");
        }
        other => panic!("{what}: {other:?}"),
    }
}
