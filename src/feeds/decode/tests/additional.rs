//! What schema.org's `additionalProperty` states (PropertyValue, release 30.0), in its three syntaxes.

use super::support::run;
use crate::catalogue::reading::Property;

fn property(name: &str, value: &str, unit: Option<&str>) -> Property {
    Property {
        name: name.to_owned(),
        value: value.to_owned(),
        unit: unit.map(str::to_owned),
    }
}

fn stated(page: &str) -> Vec<Property> {
    let decoded = run("format = \"html\"\n", page).unwrap();
    decoded.only().properties.clone()
}

fn json_ld(json: &str) -> String {
    format!("<script type='application/ld+json'>{json}</script>")
}

#[test]
fn properties_are_read_in_every_syntax() {
    let expected = [
        property("Length", "305", Some("MMT")),
        property("Memory type", "DDR5", None),
    ];
    let json = r#"{"@type":"Product","name":"Fan","offers":{"price":"9"},"additionalProperty":[
        {"@type":"PropertyValue","name":"Length","value":305,"unitCode":"MMT"},
        {"@type":"PropertyValue","propertyID":"Memory type","value":"DDR5"}]}"#;
    assert_eq!(stated(&json_ld(json)), expected);
    let microdata = r#"<div itemscope itemtype="https://schema.org/Product">
        <h1 itemprop="name">Fan</h1>
        <div itemprop="offers" itemscope itemtype="https://schema.org/Offer">
          <meta itemprop="price" content="9"></div>
        <p itemprop="additionalProperty" itemscope itemtype="https://schema.org/PropertyValue">
          <b itemprop="name">Length</b>: <span itemprop="value">305</span>
          <meta itemprop="unitCode" content="MMT"></p>
        <p itemprop="additionalProperty" itemscope itemtype="https://schema.org/PropertyValue">
          <b itemprop="name">Memory type</b> <span itemprop="value">DDR5</span></p></div>"#;
    assert_eq!(stated(microdata), expected);
    let rdfa = r#"<div vocab="https://schema.org/" typeof="Product">
        <h1 property="name">Fan</h1>
        <div property="offers" typeof="Offer"><meta property="price" content="9"></div>
        <p property="additionalProperty" typeof="PropertyValue"><b property="name">Length</b>
          <span property="value">305</span><meta property="unitCode" content="MMT"></p>
        <p property="additionalProperty" typeof="PropertyValue"><b property="name">Memory type</b>
          <span property="value">DDR5</span></p></div>"#;
    assert_eq!(stated(rdfa), expected);
}

#[test]
fn a_variant_states_its_own_and_what_its_group_states_beside() {
    let json = r#"{"@type":"ProductGroup","name":"Kit","additionalProperty":[
        {"name":"Memory type","value":"DDR5"},{"name":"Capacity","value":"16 GB"}],
        "hasVariant":{"@type":"Product","name":"Kit 32","color":"White",
          "offers":{"price":"9"},"additionalProperty":{"name":"Capacity","value":"32 GB"}}}"#;
    assert_eq!(
        stated(&json_ld(json)),
        [
            property("color", "White", None),
            property("Capacity", "32 GB", None),
            property("Memory type", "DDR5", None),
        ]
    );
}

#[test]
fn a_range_a_name_alone_and_prose_are_no_properties() {
    let prose = "very ".repeat(40);
    let json = format!(
        r#"{{"@type":"Product","name":"Fan","offers":{{"price":"9"}},"additionalProperty":[
        {{"name":"Speed","minValue":300,"maxValue":1500}},{{"name":"Quiet"}},
        {{"name":"About","value":"{prose}"}},"loose text"]}}"#
    );
    assert_eq!(stated(&json_ld(&json)), []);
}
