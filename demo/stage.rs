//! The demo's world as the `demo` command sees it: opened, put on sale, closed.

use crate::demo::world::{Shop, World};
use crate::demo::{Addresses, Shops, WebhookReceiver, write_configuration};
use anyhow::{Context as _, bail};
use rigtide::cli::DemoWorld;
use rigtide::cli::args::DemoArguments;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::runtime::Runtime;

/// The world that the README shows. Another seed invents another one.
const SEED: u64 = 2026;

/// Opens the shops and writes the configuration.
///
/// # Errors
/// A directory that is in use, or a port that the system refuses.
pub fn open(arguments: &DemoArguments) -> anyhow::Result<Box<dyn DemoWorld>> {
    let directory = directory(arguments)?;
    // A runtime of its own: the shops are no part of the daemon that polls them.
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(1)
        .enable_all()
        .build()
        .context("cannot start the demo's retailers")?;
    let world = World::generate(SEED);
    let (shops, receiver) = runtime.block_on(async {
        anyhow::Ok((Shops::open(&world).await?, WebhookReceiver::open().await?))
    })?;
    let address = |shop: Shop| shops.address(shop).context("a retailer did not open");
    let addresses = Addresses {
        shops: [
            address(Shop::ALL[0])?,
            address(Shop::ALL[1])?,
            address(Shop::ALL[2])?,
        ],
        webhook: receiver.address(),
    };
    write_configuration(&directory, &world, &addresses).with_context(|| {
        format!(
            "cannot write the configuration into {}",
            directory.display()
        )
    })?;
    Ok(Box::new(Stage {
        directory,
        runtime,
        world,
        shops,
        receiver,
    }))
}

fn directory(arguments: &DemoArguments) -> anyhow::Result<PathBuf> {
    if let Some(directory) = &arguments.dir {
        if directory.join("ledger.sqlite").exists() {
            bail!(
                "{} holds a ledger already; name another directory",
                directory.display()
            );
        }
        return Ok(directory.clone());
    }
    for number in 0..1_000 {
        let name = if number == 0 {
            "rigtide-demo".to_owned()
        } else {
            format!("rigtide-demo-{number}")
        };
        let directory = std::env::temp_dir().join(name);
        match std::fs::create_dir(&directory) {
            Ok(()) => return Ok(directory),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(error) => {
                return Err(error)
                    .with_context(|| format!("cannot create {}", directory.display()));
            }
        }
    }
    bail!(
        "too many demo directories in {}; remove some",
        std::env::temp_dir().display()
    )
}

struct Stage {
    directory: PathBuf,
    runtime: Runtime,
    world: World,
    shops: Shops,
    receiver: WebhookReceiver,
}

impl DemoWorld for Stage {
    fn directory(&self) -> &Path {
        &self.directory
    }

    fn scenario(&self) -> Vec<String> {
        let mut lines = vec![
            "A youth centre wants one quiet machine for its media room: video cutting by day,"
                .to_owned(),
            "a 1440p games club in the evening, for EUR 1 500. Everything here is invented."
                .to_owned(),
            String::new(),
            format!(
                "{} parts in the catalogue; three retailers on loopback list {} offers:",
                self.world.parts.len(),
                self.world.n_offers()
            ),
        ];
        for shop in Shop::ALL {
            let address = self
                .shops
                .address(shop)
                .map_or_else(String::new, |at| format!("http://{at}/"));
            lines.push(format!("  {:<10} {address}", shop.name()));
        }
        lines.push(format!("configuration: {}", self.directory.display()));
        lines
    }

    fn start_sale(&mut self) -> String {
        let sale = self.world.sale();
        self.shops.start_sale(&sale);
        format!(
            "{} takes {} % off {} offers",
            sale.shop.name(),
            sale.percent,
            sale.skus.len()
        )
    }

    fn received(&mut self, limit: Duration) -> Option<String> {
        let next = async { tokio::time::timeout(limit, self.receiver.next()).await };
        self.runtime.block_on(next).ok().flatten()
    }

    fn close(self: Box<Self>) {
        let Stage {
            runtime,
            shops,
            receiver,
            ..
        } = *self;
        runtime.block_on(async {
            shops.close().await;
            receiver.close().await;
        });
    }
}
