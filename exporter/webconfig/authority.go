package webconfig

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"net"
	"regexp"
	"slices"
	"strings"
	"time"
)

const (
	day = 24 * time.Hour
	// ServerLife is how long a server's certificate is good. Apple's devices take 825 days of a home's own authority, 398 of a public one, and
	// Apple advises a day less (support.apple.com/103769 and /102028): what suits both suits all.
	ServerLife = 397 * day
	// authorityLife is how long the authority's is good: putting a new one on every phone is a nuisance. Ours, no source.
	authorityLife = 10 * 365 * day
	// clockSlack is how far a phone's clock may be behind. Ours, no source.
	clockSlack = day
	// Soon is how long before its end a certificate is told of. Ours, no source.
	Soon = 30 * day
)

// homeDomains and homeNetworks are what nobody elsewhere owns: RFC 6762, 8375; 1918, 3927, 4193, 4291, 1122.
var (
	homeDomains  = []string{"local", "home.arpa"}
	homeNetworks = []string{"10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128"}
)

// HomeAuthority signs the certificates of one home's servers. It can sign none for names elsewhere, so that its key, should somebody
// steal it, opens no bank.
type HomeAuthority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// NewAuthority makes the authority of a home whose servers have these names and addresses.
func NewAuthority(home string, names []string, now time.Time) (*HomeAuthority, error) {
	dns, ips, err := sorted(names)
	if err != nil {
		return nil, err
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("making a key: %w", err)
	}
	t := &x509.Certificate{
		// A name with a space is taken for no host's.
		Subject:   pkix.Name{CommonName: "nestmon authority of " + home},
		NotBefore: now.Add(-clockSlack).UTC(), NotAfter: now.Add(authorityLife).UTC(),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true, // it signs servers, and no other authority
		KeyUsage:            x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
		PermittedDNSDomains: slices.Concat(homeDomains, dns),
		// Not critical, though RFC 5280 wants that: what does not know it would refuse the page, as Apple's systems once did (from memory).
		PermittedDNSDomainsCritical: false,
	}
	for _, text := range homeNetworks {
		_, network, err := net.ParseCIDR(text)
		if err != nil {
			return nil, err
		}
		t.PermittedIPRanges = append(t.PermittedIPRanges, network)
	}
	for _, ip := range ips {
		if slices.ContainsFunc(t.PermittedIPRanges, func(n *net.IPNet) bool { return n.Contains(ip) }) {
			continue
		}
		t.PermittedIPRanges = append(t.PermittedIPRanges, &net.IPNet{IP: ip, Mask: net.CIDRMask(8*len(ip), 8*len(ip))})
	}
	cert, err := sign(t, t, &key.PublicKey, key)
	return &HomeAuthority{cert, key}, err
}

// ReadAuthority reads what Files gave.
func ReadAuthority(cert, key []byte) (*HomeAuthority, error) {
	a := &HomeAuthority{}
	block, _ := pem.Decode(cert)
	if block == nil {
		return nil, errors.New("the authority's certificate is no PEM file")
	}
	var err error
	if a.cert, err = x509.ParseCertificate(block.Bytes); err != nil {
		return nil, errors.New("the authority's certificate cannot be read")
	}
	if a.key, err = readKey(key); err != nil {
		return nil, fmt.Errorf("the authority's key: %w", err)
	}
	if !a.key.PublicKey.Equal(a.cert.PublicKey) {
		return nil, errors.New("the authority's key belongs to another certificate")
	}
	return a, nil
}

// Files are the certificate, which everybody may have, and the key, which nobody may.
func (a *HomeAuthority) Files() (cert, key []byte, err error) {
	key, err = keyFile(a.key)
	return CertificateFile(a.cert), key, err
}

// Certificate is what a phone must trust.
func (a *HomeAuthority) Certificate() *x509.Certificate { return a.cert }

// Issue signs a certificate for a server with these names and addresses. An empty key makes a new one. What it returns is for a server's
// cert_file, with the authority's at its end, and key_file.
func (a *HomeAuthority) Issue(names []string, key []byte, now time.Time) (chain, own []byte, err error) {
	dns, ips, err := sorted(names)
	if err != nil {
		return nil, nil, err
	}
	var private *ecdsa.PrivateKey
	if len(key) > 0 {
		private, err = readKey(key)
	} else {
		private, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("the server's key: %w", err)
	}
	begin, end := now.Add(-clockSlack).UTC(), now.Add(-clockSlack).Add(ServerLife).UTC()
	if end.After(a.cert.NotAfter) {
		end = a.cert.NotAfter
	}
	if !now.Before(end) {
		return nil, nil, fmt.Errorf("the authority's certificate ended on %s; make another authority, and put it on every phone", end.Format(time.DateOnly))
	}
	cert, err := sign(&x509.Certificate{
		Subject: pkix.Name{CommonName: "nestmon page"}, DNSNames: dns, IPAddresses: ips, NotBefore: begin, NotAfter: end,
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
	}, a.cert, &private.PublicKey, a.key)
	if err != nil {
		return nil, nil, err
	}
	pool := x509.NewCertPool()
	pool.AddCert(a.cert)
	for _, name := range slices.Concat(dns, addresses(ips)) {
		if _, err := cert.Verify(x509.VerifyOptions{DNSName: name, Roots: pool, CurrentTime: now}); err != nil {
			return nil, nil, fmt.Errorf("the authority may sign nothing for %s; make another authority that may, and put it on every phone", name)
		}
	}
	own, err = keyFile(private)
	return slices.Concat(CertificateFile(cert), CertificateFile(a.cert)), own, err
}

func sign(t, parent *x509.Certificate, public *ecdsa.PublicKey, key *ecdsa.PrivateKey) (*x509.Certificate, error) {
	der, err := x509.CreateCertificate(rand.Reader, t, parent, public, key) // which chooses the number
	if err != nil {
		return nil, fmt.Errorf("signing: %w", err)
	}
	return x509.ParseCertificate(der)
}

// hostName is a name in DNS as a certificate may hold it, at most 253 bytes (RFC 1035); the pattern is that of RFC 1123.
var hostName = regexp.MustCompile(`^([a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?\.)*[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// sorted tells names from addresses.
func sorted(names []string) (dns []string, ips []net.IP, err error) {
	for _, name := range names {
		name = strings.ToLower(strings.TrimSuffix(strings.Trim(name, "[]"), "."))
		if ip := net.ParseIP(name); ip != nil {
			if short := ip.To4(); short != nil {
				ip = short
			}
			if ip.IsUnspecified() {
				return nil, nil, fmt.Errorf("%s is every address and none; name what a phone opens", name)
			}
			if !slices.ContainsFunc(ips, ip.Equal) {
				ips = append(ips, ip)
			}
			continue
		}
		if len(name) > 253 || !hostName.MatchString(name) {
			return nil, nil, fmt.Errorf("%.60q is no name or address of a machine; write such as nests.local or 192.168.1.20", name)
		}
		if !slices.Contains(dns, name) {
			dns = append(dns, name)
		}
	}
	if len(dns)+len(ips) == 0 {
		return nil, nil, errors.New("no name or address is given under which a phone opens the page")
	}
	return dns, ips, nil
}

func addresses(ips []net.IP) (all []string) {
	for _, ip := range ips {
		all = append(all, ip.String())
	}
	return all
}

// Names are what a server's certificate is good for.
func Names(cert *x509.Certificate) []string {
	return slices.Concat(cert.DNSNames, addresses(cert.IPAddresses))
}

// Fingerprint is by which two people see that they have the same certificate.
func Fingerprint(cert *x509.Certificate) string {
	return strings.ReplaceAll(fmt.Sprintf("% X", sha256.Sum256(cert.Raw)), " ", ":")
}

// CertificateFile is a certificate as files hold it.
func CertificateFile(cert *x509.Certificate) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert.Raw})
}

func keyFile(key *ecdsa.PrivateKey) ([]byte, error) {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("writing a key: %w", err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), nil
}

// readKey quotes nothing.
func readKey(text []byte) (*ecdsa.PrivateKey, error) {
	if block, _ := pem.Decode(text); block != nil {
		if key, err := x509.ParsePKCS8PrivateKey(block.Bytes); err == nil {
			if own, ok := key.(*ecdsa.PrivateKey); ok {
				return own, nil
			}
		}
	}
	return nil, errors.New("it is not a key that 'nestmon certificate' made")
}

// chainOf are the certificates that a server shows, its own first. None without TLS.
func chainOf(file string) (chain []*x509.Certificate) {
	cert, ok := shown(file)
	for _, der := range cert.Certificate {
		c, err := x509.ParseCertificate(der)
		if !ok || err != nil {
			return nil
		}
		chain = append(chain, c)
	}
	return chain
}

// Authority is the one that a server's certificate is signed by, where the server shows it too and it signed itself.
func Authority(file string) (*x509.Certificate, bool) {
	chain := chainOf(file)
	if len(chain) < 2 {
		return nil, false
	}
	last := chain[len(chain)-1]
	return last, last.IsCA && bytes.Equal(last.RawIssuer, last.RawSubject) && last.CheckSignatureFrom(last) == nil
}

// Ending says when a certificate that a server shows ends within Soon, or has ended.
func Ending(file string, now time.Time) error {
	chain := chainOf(file)
	if len(chain) == 0 {
		return nil
	}
	first := slices.MinFunc(chain, func(a, b *x509.Certificate) int { return a.NotAfter.Compare(b.NotAfter) })
	remedy := "; put a new one in its place"
	if ca, own := Authority(file); own && !ca.NotAfter.After(first.NotAfter) {
		remedy = "; move its files away, make another and put that on every phone: 'nestmon certificate make'"
	} else if own {
		remedy = "; renew it: sudo nestmon certificate renew"
	}
	switch end := first.NotAfter.Format(time.DateOnly); {
	case now.After(first.NotAfter):
		return problem(fmt.Sprintf("the certificate of %s ended on %s%s", file, end, remedy))
	case now.After(first.NotAfter.Add(-Soon)):
		return problem(fmt.Sprintf("the certificate of %s ends on %s, and then no phone opens the page%s", file, end, remedy))
	}
	return nil
}
