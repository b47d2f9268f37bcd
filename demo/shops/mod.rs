//! The three shops as real HTTP servers on loopback, and the desk that receives bulletins.
//!
//! Each shop's pages are rendered whole and kept as a [`site::Site`]; a sale replaces the site in
//! one step, so a poll sees the range before it or after it, never half of each. Listens on
//! 127.0.0.1 only, on ports that the system picks. Knows nothing of the daemon.

mod csv_export;
mod html_pages;
mod json_api;
mod server;
mod site;
mod webhook;

use super::world::{Sale, Shop, Stock, World};
use server::Server;
use site::Site;
use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::watch;
pub use webhook::WebhookReceiver;

/// The running shops. They stop when this is dropped; [`Shops::close`] lets requests finish.
pub struct Shops {
    running: Vec<Running>,
}

struct Running {
    stock: Stock,
    site: watch::Sender<Arc<Site>>,
    server: Server,
}

impl Shops {
    /// Opens every shop of the world on a free port of 127.0.0.1.
    ///
    /// # Errors
    /// The system's refusal of a port.
    pub async fn open(world: &World) -> io::Result<Shops> {
        let mut running = Vec::new();
        for stock in &world.stocks {
            let listener = TcpListener::bind(("127.0.0.1", 0)).await?;
            let address = listener.local_addr()?;
            let (site, pages) = watch::channel(Arc::new(render(stock, address)));
            let server = Server::start(listener, site::router(pages))?;
            let stock = stock.clone();
            running.push(Running {
                stock,
                site,
                server,
            });
        }
        Ok(Shops { running })
    }

    /// Where the shop listens, or `None` if the world did not have it.
    pub fn address(&self, shop: Shop) -> Option<SocketAddr> {
        let running = self
            .running
            .iter()
            .find(|running| running.stock.shop == shop)?;
        Some(running.server.address())
    }

    /// Puts the sale's prices on the shop's pages, from the next request on.
    pub fn start_sale(&self, sale: &Sale) {
        for running in self
            .running
            .iter()
            .filter(|running| running.stock.shop == sale.shop)
        {
            let cut = sale.apply(&running.stock);
            running
                .site
                .send_replace(Arc::new(render(&cut, running.server.address())));
        }
    }

    /// Stops listening and waits, within two seconds, for requests under way.
    pub async fn close(self) {
        for running in self.running {
            running.server.close().await;
        }
    }
}

fn render(stock: &Stock, address: SocketAddr) -> Site {
    let base = format!("http://{address}");
    let mut site = Site::new();
    match stock.shop {
        Shop::Vahrel => csv_export::render(stock, &base, &mut site),
        Shop::Ysmarok => json_api::render(stock, &base, &mut site),
        Shop::Immenk => {}
    }
    // People may look into every shop; the third has nothing but these pages for programs either.
    html_pages::render_index(stock, &mut site);
    html_pages::render_offers(stock, &base, &mut site);
    site
}
